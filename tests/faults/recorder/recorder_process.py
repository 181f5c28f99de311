"""The recorder as a program of its own, concluding with the toy room."""

import sys

from recorder_bench import start_batch

from logger.recorder import Pace, main

if __name__ == "__main__":
    sys.exit(main(sys.argv[1:], start_batch, Pace(probe_s=0.1)))
