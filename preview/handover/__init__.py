"""What leaves the house: clips and stills, written whole or not at all."""
