"""What things are: frozen, slotted dataclasses and the reading of plain values; standard library only."""
