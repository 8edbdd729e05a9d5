"""What a head is: landmarks, frames, eye and lid dimensions, published norms, proportions."""
