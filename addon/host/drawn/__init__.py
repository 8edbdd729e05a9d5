"""What is drawn over the view."""
