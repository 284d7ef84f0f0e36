"""Trial sheets: what was filmed, one row per clip, from a spreadsheet or from TOML."""
