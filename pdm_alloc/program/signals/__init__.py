"""The integer program of the signal side: types of signal on classes of pin."""
