"""Files to domain objects: every problem is collected, none is raised one at a time."""
