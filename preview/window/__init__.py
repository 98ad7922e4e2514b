"""The pygame window: the only package that imports pygame.

What SDL reads when it is first loaded is set here, before anything of the package can load it: no greeting, no sound device, a
plain software surface, which is quickest for whole pictures, and the name that window managers know the window by.
"""

import os

for _name, _value in (
    ("PYGAME_HIDE_SUPPORT_PROMPT", "1"),
    ("SDL_AUDIODRIVER", "dummy"),
    ("SDL_FRAMEBUFFER_ACCELERATION", "0"),
    ("SDL_VIDEO_X11_WMCLASS", "covecast"),
    ("SDL_VIDEO_WAYLAND_WMCLASS", "covecast"),
):
    os.environ.setdefault(_name, _value)
