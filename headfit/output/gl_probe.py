"""Ask, in a process of its own, whether OpenGL can draw here, and through which driver.

VTK on a machine without a driver ends in a segmentation fault that Python cannot catch, so this
asks first. It is run as a script, by ctypes alone: a driver that crashes takes only this process
along.

    python gl_probe.py off-screen|window    prints {"window": VTK class, "renderer": driver's name}
"""

from __future__ import annotations

import ctypes
import json
import sys

_EGL_SURFACELESS = 0x31DD  # EGL_PLATFORM_SURFACELESS_MESA
_EGL_OPENGL_API = 0x30A2
_EGL_NONE = 0x3038
_EGL_SURFACE_TYPE, _EGL_PBUFFER_BIT = 0x3033, 0x0001
_EGL_RENDERABLE_TYPE, _EGL_OPENGL_BIT = 0x3040, 0x0008
_EGL_WIDTH, _EGL_HEIGHT = 0x3057, 0x3056
_GL_RENDERER = 0x1F01


def _library(*names: str) -> ctypes.CDLL | None:
    for name in names:
        try:
            return ctypes.CDLL(name)
        except OSError:
            continue
    return None


def _egl_renderer(egl: ctypes.CDLL) -> str | None:
    """The driver's name after a context was really made, on the display that VTK would take."""
    for name in (
        "eglGetDisplay",
        "eglGetProcAddress",
        "eglCreateContext",
        "eglCreatePbufferSurface",
    ):
        getattr(egl, name).restype = ctypes.c_void_p
    egl.eglGetProcAddress.argtypes = [ctypes.c_char_p]
    platform_display = egl.eglGetProcAddress(b"eglGetPlatformDisplayEXT")
    displays = []
    if platform_display:
        get = ctypes.CFUNCTYPE(ctypes.c_void_p, ctypes.c_uint, ctypes.c_void_p, ctypes.c_void_p)(
            platform_display
        )
        displays.append(get(_EGL_SURFACELESS, None, None))
    displays.append(egl.eglGetDisplay(None))
    for display in filter(None, displays):
        found = _renderer_on(egl, ctypes.c_void_p(display))
        if found:
            return found
    return None


def _renderer_on(egl: ctypes.CDLL, display: ctypes.c_void_p) -> str | None:
    if not egl.eglInitialize(display, None, None) or not egl.eglBindAPI(_EGL_OPENGL_API):
        return None
    wanted = (ctypes.c_int * 5)(
        _EGL_SURFACE_TYPE, _EGL_PBUFFER_BIT, _EGL_RENDERABLE_TYPE, _EGL_OPENGL_BIT, _EGL_NONE
    )
    config, count = ctypes.c_void_p(), ctypes.c_int()
    egl.eglChooseConfig(display, wanted, ctypes.byref(config), 1, ctypes.byref(count))
    if not count.value:
        return None
    context = ctypes.c_void_p(egl.eglCreateContext(display, config, None, None))
    size = (ctypes.c_int * 5)(_EGL_WIDTH, 4, _EGL_HEIGHT, 4, _EGL_NONE)
    surface = ctypes.c_void_p(egl.eglCreatePbufferSurface(display, config, size))
    if context.value is None or not egl.eglMakeCurrent(display, surface, surface, context):
        return None
    address = egl.eglGetProcAddress(b"glGetString")
    if not address:
        return None
    text = ctypes.CFUNCTYPE(ctypes.c_char_p, ctypes.c_uint)(address)(_GL_RENDERER)
    return text.decode("utf-8", "replace") if text else None


def probe(where: str) -> dict[str, str]:
    """What was found; empty when nothing can draw there."""
    if where == "window":
        x11 = _library("libX11.so.6")
        if x11 is None or _library("libGL.so.1") is None:
            return {}
        x11.XOpenDisplay.restype = ctypes.c_void_p
        return (
            {"window": "vtkXOpenGLRenderWindow", "renderer": ""} if x11.XOpenDisplay(None) else {}
        )
    egl = _library("libEGL.so.1")
    renderer = _egl_renderer(egl) if egl is not None else None
    if renderer:
        return {"window": "vtkEGLRenderWindow", "renderer": renderer}
    if _library("libOSMesa.so.8", "libOSMesa.so.6", "libOSMesa.so"):
        return {"window": "vtkOSOpenGLRenderWindow", "renderer": "llvmpipe (OSMesa)"}
    return {}


if __name__ == "__main__":
    sys.stdout.write(json.dumps(probe(sys.argv[1])))
