"""Memory that a stage is done with is kept for the next."""

import ctypes
from contextlib import suppress

#: What glibc's malloc.h calls these settings, and Linux's mman-common.h this advice.
_TRIM_THRESHOLD, _MMAP_THRESHOLD, _ARENA_MAX, _HUGE_PAGES = -1, -3, -8, 14
#: Most that such a setting takes, bytes.
_MOST = 2**31 - 1
#: Addresses, not memory, that are set aside in large pages, bytes: more is trimmed, and few measurements want more.
_SET_ASIDE = 3 * 2**29
#: A large page, bytes.
_PAGE = 2**21


def keep_freed() -> None:
    """Have floor views take the place, in large pages, of floor views that are done with, in all threads.

    As a rule glibc hands every large array back when it is freed, and the system clears the same memory for the next,
    page by small page, which takes longer than much of what is computed there. To be called before the first
    thread starts; nothing happens on other systems, which have other ways.
    """
    with suppress(AttributeError, OSError, TypeError):
        libc = ctypes.CDLL(None)
        for setting, value in ((_MMAP_THRESHOLD, _MOST), (_TRIM_THRESHOLD, _MOST), (_ARENA_MAX, 1)):
            libc.mallopt(setting, value)
        libc.malloc.restype = ctypes.c_void_p
        block = libc.malloc(ctypes.c_size_t(_SET_ASIDE))
        if block:
            first = -(-block // _PAGE) * _PAGE
            libc.madvise(ctypes.c_void_p(first), ctypes.c_size_t(_SET_ASIDE - (first - block)), _HUGE_PAGES)
            libc.free(ctypes.c_void_p(block))
