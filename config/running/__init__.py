"""Is everything running? Read live for pages, probes and programs; nothing here is kept."""
