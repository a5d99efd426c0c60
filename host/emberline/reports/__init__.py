"""What a person reads: the summary page, its plots and the files."""
