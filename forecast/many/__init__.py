"""Many builds at once: one table of all, and priors for the next builder.

    run       Many: builds, each checked, fitted and forecast, by whatever engine
    engine    this machine's cores, or a Dask cluster
    kept      answers that are kept, so that a broken-off run goes on
    pool      what many builds teach, as distributions

Nothing is imported here: a worker that starts again loads the engine alone until it has a job.
"""
