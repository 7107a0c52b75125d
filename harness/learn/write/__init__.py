"""From an explanation to files: a device file, a limits proposal."""

from harness.learn.write.device_text import device_text
from harness.learn.write.draft import Draft, draft_of
from harness.learn.write.limits_text import limits_text
from harness.learn.write.rule import Rule, find_rule

__all__ = ["Draft", "Rule", "device_text", "draft_of", "find_rule", "limits_text"]
