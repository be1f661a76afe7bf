"""Finding a hidden fault on a virtual engine, on the screen or by typed lines."""
