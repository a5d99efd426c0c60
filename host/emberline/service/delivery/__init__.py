"""Alarms on their way to people who are not looking: to services of their choice, and to a command of theirs."""
