"""Globes, lids, sockets and the eyes that go in them."""
