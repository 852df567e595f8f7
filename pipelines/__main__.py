"""`python -m pipelines` does what the command `rakelight` does."""

from pipelines.command import main

if __name__ == "__main__":
    main(prog_name="rakelight")
