"""Put first on PYTHONPATH, this makes a process, and all that it starts, one of a system without these names.

What is taken away is what Python does not have on Windows, as far as its own library here can do without it
(to start and to end processes it needs `waitpid` and `SIGKILL`). No code of the project is loaded yet.
"""

import os
import signal
import sys

OF_OS = """
O_ACCMODE O_ASYNC O_CLOEXEC O_DIRECT O_DIRECTORY O_DSYNC O_LARGEFILE O_NDELAY O_NOATIME O_NOCTTY O_NOFOLLOW
O_NONBLOCK O_PATH O_RSYNC O_SYNC O_TMPFILE chown chroot copy_file_range fchdir fchmod fchown fdatasync fork
forkpty fpathconf getgid geteuid getegid getgroups getloadavg getpgid getpgrp getresuid getsid getuid getxattr
killpg lchown link listxattr lockf mkfifo mknod nice openpty pread pwrite removexattr sched_getaffinity
sched_setaffinity sendfile setsid setuid setxattr statvfs sync sysconf tcgetpgrp ttyname wait3 wait4 SEEK_DATA
"""
OF_SIGNAL = """
SIGALRM SIGCHLD SIGHUP SIGPIPE SIGQUIT SIGUSR1 SIGUSR2 SIGTSTP SIGCONT SIGWINCH alarm setitimer getitimer
pause pthread_kill sigwait siginterrupt ITIMER_REAL
"""
MODULES = "fcntl resource termios tty pty pwd grp syslog readline curses _posixshmem"

for name in OF_OS.split():
    if hasattr(os, name):
        delattr(os, name)
for name in OF_SIGNAL.split():
    if hasattr(signal, name):
        delattr(signal, name)
for name in MODULES.split():
    sys.modules[name] = None  # type: ignore[assignment]
