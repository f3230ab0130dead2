"""The command line: what each verb does, and what a run may write over.

Takes what a person typed; gives files and lines on the terminal, and an exit status.
"""

from __future__ import annotations
