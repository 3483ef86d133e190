"""Vehicle, module, settings, kinds: frozen objects in whole milliamps; nothing to look up outside."""
