"""What ``describe`` makes: the job on each batch, and the files of the result."""
