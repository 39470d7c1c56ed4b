"""The live mode: trace files are decided on as they appear in a folder, each once and durably."""
