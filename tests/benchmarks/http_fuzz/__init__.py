"""The pages of a real daemon, asked in malformed ways: every answer is one of its own."""
