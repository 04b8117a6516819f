"""What will happen? The forecast of the stream and the simulation of the plant."""
