"""An invented year of one plant, taken through the commands a plant would run, and what they found."""
