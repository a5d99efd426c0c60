"""Everything that takes bytes from outside, fed with damaged and made-up input: only its own errors may come out."""
