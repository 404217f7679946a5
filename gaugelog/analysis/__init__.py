"""Numbers to numbers with uncertainty: arrays and plain values in, frozen results out; no files, clock or charts."""
