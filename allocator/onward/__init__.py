"""A room carried forward to a later day: what became of each brood, and what that changes in the room file."""
