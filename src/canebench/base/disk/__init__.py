"""Files and folders: on the disk for certain, inside their folder, for their owner alone."""
