"""The eye itself: its dimensions, where it looks, and the globe fitted to what is seen of it."""
