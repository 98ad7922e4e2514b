"""One script an effect, and the small kit they share. Imports numpy alone; knows nothing of `preview`."""
