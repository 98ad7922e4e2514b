"""The electrical side: conductors, strips, the network and its solver, probe, meter and cap."""
