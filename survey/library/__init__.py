"""What people import: one function for each command, with the command's options as keywords, and its answer as data.

Each file holds the function of one command, and what it returns; `survey.NAME` loads only that file. The commands call
these functions too, so there is one way from a plan to its answer.
"""
