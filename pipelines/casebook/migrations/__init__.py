"""The steps that make a casebook's tables, and bring an older casebook up to date."""
