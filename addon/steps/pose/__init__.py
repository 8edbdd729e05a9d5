"""Where the head is and how large: landmarks, pose, measure, scale."""
