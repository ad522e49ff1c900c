"""What a person can do, by subject; the controller is all of it together."""
