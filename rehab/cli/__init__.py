"""Commands, one file per noun; the only home of click and the only reader of the clock."""
