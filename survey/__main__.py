"""Run the program as `python -m survey`."""

from survey.cli import main

if __name__ == "__main__":
    main(prog_name="survey")
