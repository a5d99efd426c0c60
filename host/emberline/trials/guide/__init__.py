"""The guided burn: what a person is asked, one thing after the other, before and after the fire."""
