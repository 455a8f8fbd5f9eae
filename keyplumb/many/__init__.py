"""One piece of work done for many files: by processes of this machine, or by a cluster."""
