"""Files to domain objects: every problem is collected, none is raised one at a time."""

from allocator.reading.room_file import RoomReading, read_room
from allocator.reading.shape import room_schema
from allocator.reading.starter import starter_text

__all__ = ["RoomReading", "read_room", "room_schema", "starter_text"]
