"""The pack: what is handed to the client and the fitter, in one folder."""
