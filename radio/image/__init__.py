"""Reading, showing and synthesising radiographs."""
