"""Shipped profiles, units and benches: TOML files only, no code beside this line."""
