"""Many builds at once: one table, and pooled priors for the next builder.

    builds        ManyBuilds: check and read each build, forecast it through an executor
    executors     this machine's cores, or a Dask cluster
    job           what a worker receives and returns for one build
    answer        one build's answer and its row of the table
    answer_cache  answers on disk, so that an interrupted run can resume
    summary       what one build contributes to pooled priors
    pool          pooled priors of all summaries, by hierarchy (effects) and rates (counts)

Nothing is imported here, so that a restarted worker loads only what its job needs.
"""
