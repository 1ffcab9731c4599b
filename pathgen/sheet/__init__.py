"""The page and the pictures that go to the machine."""
