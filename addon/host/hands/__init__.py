"""What is done by hand in the view and in photographs."""
