"""A fuzzer of every reader and option: cases made from a seed, run in this process, judged by what must hold."""
