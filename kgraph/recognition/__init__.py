"""What a set is known to be like, what was seen of one, and how well the two agree."""
