"""What each command does and its options, from the command line itself."""

from __future__ import annotations

_WIDTH = 92


def command_pages() -> str:
    """One section per command: its help, exactly as `--help` prints it."""
    import typer.main

    from forecast.cli import app

    group = typer.main.get_command(app)
    context = group.make_context("benchdays", [], resilient_parsing=True)
    parts = []
    for name in group.list_commands(context):
        command = group.get_command(context, name)
        assert command is not None
        inner = command.context_class(
            command, info_name=name, parent=context, terminal_width=_WIDTH, max_content_width=_WIDTH
        )
        parts.append(f"## {name}\n\n```text\n{command.get_help(inner)}\n```\n")
    return "\n".join(parts)
