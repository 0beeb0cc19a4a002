"""The rest of the build, simulated many times: network, runs, outlook."""
