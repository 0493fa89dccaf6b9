"""Decision tables: exactly one row answers, with a proof of no gap and no overlap. Pure."""
