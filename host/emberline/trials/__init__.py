"""One trial and many: the tracker, the final analysis and the documents that go out. Pure."""
