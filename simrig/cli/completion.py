"""``simrig completion``: a completion script made from the parsers themselves."""

from __future__ import annotations

import argparse

from simrig.cli.context import Context


def configure(parser: argparse.ArgumentParser) -> None:
    """Add the options."""
    parser.add_argument("shell", choices=("bash", "zsh", "fish"), help="the shell to complete in")


def run(arguments: argparse.Namespace, context: Context) -> int:
    """Print the script."""
    from simrig.cli.main import COMMANDS, command_parser

    words = {
        name: sorted(
            option for action in command_parser(name)._actions for option in action.option_strings
        )
        for name in COMMANDS
    }
    if context.json:
        context.answer({"shell": arguments.shell, "commands": words})
        return 0
    context.say({"bash": _bash, "zsh": _zsh, "fish": _fish}[arguments.shell](words))
    return 0


def _bash(words: dict[str, list[str]]) -> str:
    cases = "\n".join(
        f'    {name}) COMPREPLY=($(compgen -W "{" ".join(options)}" -- "$word"));;'
        for name, options in words.items()
    )
    return f"""_simrig() {{
  local word="${{COMP_WORDS[COMP_CWORD]}}"
  if [ "$COMP_CWORD" -eq 1 ]; then
    COMPREPLY=($(compgen -W "{" ".join(words)}" -- "$word"))
    return
  fi
  case "${{COMP_WORDS[1]}}" in
{cases}
  esac
}}
complete -o default -F _simrig simrig"""


def _zsh(words: dict[str, list[str]]) -> str:
    return "autoload -U +X bashcompinit && bashcompinit\n" + _bash(words)


def _fish(words: dict[str, list[str]]) -> str:
    from simrig.cli.main import COMMANDS

    lines = [
        f"complete -c simrig -n __fish_use_subcommand -a {name} -d '{COMMANDS[name]}'"
        for name in words
    ]
    lines += [
        f"complete -c simrig -n '__fish_seen_subcommand_from {name}' -l {option[2:]}"
        for name, options in words.items()
        for option in options
        if option.startswith("--")
    ]
    return "\n".join(lines)
