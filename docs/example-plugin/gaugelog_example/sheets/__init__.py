"""The datasheets: every *.toml file in here."""
