"""The rest of the build, simulated many times.

settings, what_if    what may be chosen
fitted               what was learned from the log
network              the open tasks and the compiled simulation
runs                 batches of runs, drawn and simulated in order
finish               the entry points: from a build folder to an outlook
outlook              the answer
first_use            whether the kernels are compiled
"""
