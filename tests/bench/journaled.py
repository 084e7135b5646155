"""A file system to measure on: a fresh ext4 with a journal in a loop image, when run by root.

Where a sync costs nothing (a memory file system, an ext4 without a journal) a comparison with whoever
syncs every file says nothing about a server's disk."""
import contextlib
import os
import shutil
import subprocess
import tempfile


def run(*words):
    return subprocess.run(words, stdout=subprocess.PIPE, text=True, check=True).stdout.strip()


def described(folder):
    """The file system below `folder`, as the kernel tells it."""
    device, kind, options = run("findmnt", "-n", "-T", folder, "-o", "SOURCE,FSTYPE,OPTIONS").split(None, 2)
    journal = ""
    if kind == "ext4":
        name = os.path.basename(os.path.realpath(device))
        journal = ", journaled" if os.path.isdir("/proc/fs/jbd2/%s-8" % name) else ", without a journal"
    return "%s%s on %s (%s)" % (kind, journal, device, options)


@contextlib.contextmanager
def folder(size="6G", below=None):
    """Yields (folder, description). Anyone but root gets a folder where `below` lies."""
    made = tempfile.mkdtemp(prefix="wavepost-bench-", dir=below)
    if os.getuid() != 0:
        try:
            yield made, described(made)
        finally:
            shutil.rmtree(made)
        return
    image, mount, loop = made + "/image", made + "/mount", None
    try:
        os.mkdir(mount)
        run("fallocate", "-l", size, image)
        run("mkfs.ext4", "-q", "-F", "-E", "lazy_itable_init=0,lazy_journal_init=0,nodiscard", image)
        loop = run("losetup", "-f", "--show", "--direct-io=on", image)
        run("mount", "-o", "noatime", loop, mount)
        yield mount, described(mount)
    finally:
        if os.path.ismount(mount):
            run("umount", "--lazy", mount)  # after an error something may still be open in it
        if loop:
            run("losetup", "-d", loop)
        shutil.rmtree(made)
