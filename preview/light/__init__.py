"""From the flux of every group to a picture: colour, emission, covers, room, transport, exposure."""
