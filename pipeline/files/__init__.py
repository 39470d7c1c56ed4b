"""Reading and writing files so that nothing is half written or acts on its reader."""
