"""Running a job over every unit of the store, in bounded memory, and going on where it stopped."""
