"""The steps of the job, as the command line and a script take them."""
