"""The live page: the bench at work, shown to a tablet, asked by it. Above `recorder` and `show`, which it joins."""
