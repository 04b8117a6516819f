"""What should I do? The use cases of the operator's day, made of the rooms above. Plain data out."""
