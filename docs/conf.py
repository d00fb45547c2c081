"""Settings of the documentation site: ``sphinx-build -W --keep-going docs docs/_build`` (extra ``docs``).

Three directives of our own: ``public-names`` documents every public name whose module is, or lies in, one of its arguments (a
public name that no page shows is a warning); ``command-help`` prints the help of every command; ``picture`` shows code and the
figure of the axes in its last line (the names of earlier pictures of the page are known; the tests run it as doctest).
"""

from __future__ import annotations

import pathlib
import sys
from typing import Any

sys.path.insert(0, str(pathlib.Path(__file__).parents[1]))

from heatq import _HOME, __version__  # noqa: E402

project = "heatq"
copyright = "The heatq developers, BSD-3-Clause"
version = release = __version__
extensions = [
    "myst_parser",
    "sphinx.ext.autodoc",
    "sphinx.ext.napoleon",
]
exclude_patterns = ["_build"]
default_role = "py:obj"  # `name` in a docstring is a link where the name is public
html_theme = "furo"
html_title = f"heatq {__version__}"
html_static_path = ["_static"]
html_css_files = ["site.css"]
html_show_sphinx = False
html_domain_indices = False  # the index of modules would show those of the figures alone
html_copy_source = False

html_math_renderer = "mathml"  # readable without a network

myst_enable_extensions = ["deflist", "dollarmath"]
myst_heading_anchors = 3
napoleon_google_docstring = False
napoleon_use_rtype = False
napoleon_use_param = False  # arguments that share a text stay together
autodoc_member_order = "bysource"
autodoc_typehints = "none"  # the Parameters sections say it in words
maximum_signature_line_length = 88


def setup(app: Any) -> None:
    """Register the directives."""
    import contextlib
    import doctest
    import hashlib
    import html
    import importlib
    import inspect
    import io
    import os
    import re

    from docutils import nodes
    from docutils.utils.math.latex2mathml import tex2mathml
    from sphinx.util import logging
    from sphinx.util.docutils import SphinxDirective

    log = logging.getLogger(__name__)
    shown: set[str] = set()

    class PublicNames(SphinxDirective):
        """The public names of some modules, in the order of the alphabet."""

        required_arguments = 1
        final_argument_whitespace = True

        def run(self) -> list[nodes.Node]:
            places = self.arguments[0].split()
            names = [n for n, home in _HOME.items() if any(f"{home}.".startswith(f"{place}.") for place in places)]
            lines = []
            for name in sorted(names, key=str.lower):
                thing = getattr(importlib.import_module(f"heatq.{_HOME[name]}"), name)
                kind = "class" if inspect.isclass(thing) else "function" if callable(thing) else "data"
                lines += [f".. auto{kind}:: heatq.{name}", *(["   :members:"] if kind == "class" else []), ""]
            shown.update(names)
            return self.parse_text_to_nodes("\n".join(["```{eval-rst}", *lines, "```"])) if names else []

    class CommandHelp(SphinxDirective):
        """What ``heatq COMMAND --help`` says, for all commands and their actions."""

        def run(self) -> list[nodes.Node]:
            from heatq.__main__ import main

            def help_of(*arguments: str) -> str:
                text = io.StringIO()
                with contextlib.redirect_stdout(text), contextlib.suppress(SystemExit):
                    main([*arguments, "--help"])
                return text.getvalue()

            os.environ["COLUMNS"] = "88"
            overview = help_of()

            def listed(text: str, heading: str) -> list[str]:
                return re.findall(r"^ {4}(\S+)", text.partition(heading)[2], re.MULTILINE)

            found: list[nodes.Node] = [nodes.literal_block(overview, overview, language="text")]
            for command in listed(overview, "COMMAND\n"):
                text = help_of(command)
                part = nodes.section(ids=[f"heatq-{command}"], names=[f"heatq {command}"])
                part += [nodes.title("", f"heatq {command}"), nodes.literal_block(text, text, language="text")]
                for action in listed(text.partition("options:")[0], "ACTION\n"):
                    text = help_of(command, action)
                    part += nodes.section(
                        "",
                        nodes.title("", f"heatq {command} {action}"),
                        nodes.literal_block(text, text, language="text"),
                        ids=[f"heatq-{command}-{action}"],
                        names=[f"heatq {command} {action}"],
                    )
                found.append(part)
            return found

    class Picture(SphinxDirective):
        """Code, and under it the figure that its last line leaves in ``ax``; the argument says what is seen."""

        has_content = True
        required_arguments = 1
        final_argument_whitespace = True

        def run(self) -> list[nodes.Node]:
            text = "\n".join(self.content)
            known = self.env.temp_data.setdefault("heatq-picture", {})
            for example in doctest.DocTestParser().get_examples(text):
                exec(compile(example.source, self.env.docname, "single"), known)
            ax = known["ax"][0] if isinstance(known["ax"], tuple) else known["ax"]
            folder = pathlib.Path(self.env.app.outdir) / "_pictures"
            folder.mkdir(parents=True, exist_ok=True)
            name = f"{hashlib.sha1(text.encode()).hexdigest()[:12]}.svg"
            ax.figure.savefig(folder / name)
            depth = self.env.docname.count("/")
            tag = f'<img class="picture" src="{"../" * depth}_pictures/{name}" alt="{html.escape(self.arguments[0])}">'
            return [nodes.literal_block(text, text, language="pycon"), nodes.raw("", tag, format="html")]

    def formula(translator: Any, node: nodes.Node) -> None:
        is_block = isinstance(node, nodes.math_block)
        tag = tex2mathml(node.astext(), as_block=is_block)
        translator.body.append(f'<div class="math">{tag}</div>' if is_block else tag)
        raise nodes.SkipNode

    def all_shown(app: Any, env: Any) -> list[str]:
        missing = sorted(set(_HOME) - shown)
        if shown and missing:
            log.warning("public names on no page (docs/reference/api.md): %s", ", ".join(missing))
        return []

    def no_blank_ends(app: Any, name: str, source: list[str]) -> None:
        source[0] = source[0].replace("\n\n```\n", "\n```\n")  # the blank line ends the expected output of a doctest

    def unit_alone(app: Any, what: str, name: str, thing: Any, options: Any, lines: list[str]) -> None:
        lines[:] = [re.sub(r"^( +)(?=[A-Za-z]\.( |$))", r"\1\\", line) for line in lines]  # "m." begins no list

    app.add_html_math_renderer("mathml", (formula, None), (formula, None))
    app.connect("source-read", no_blank_ends)
    app.connect("autodoc-process-docstring", unit_alone, priority=400)  # before napoleon
    app.add_directive("public-names", PublicNames)
    app.add_directive("command-help", CommandHelp)
    app.add_directive("picture", Picture)
    app.connect("env-updated", all_shown)
