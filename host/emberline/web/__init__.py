"""What a person or a monitoring program looks at over HTTP."""
