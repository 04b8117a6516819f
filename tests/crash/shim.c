/* What does a program do to the files of the records, in which order? Put before the C library (LD_PRELOAD), it writes
 * down every write, cut, sync, opening, closing, new name and lost name of the files that are watched, and the instant
 * at which each sync was over; or it makes a write or a sync fail as a disk would.
 *
 * CRASH_WATCH   a folder; it and what is in it is watched, but for what is shared in memory (-shm)
 * CRASH_LOG     where it is written down; opened for appending, one write for each line of it
 * CRASH_FAULT   a file whose first byte says what fails: 'w' a write with EIO, 's' a sync with EIO, 'f' a write with
 *               ENOSPC; anything else, or no file: nothing
 */
#define _GNU_SOURCE
#include <dlfcn.h>
#include <errno.h>
#include <fcntl.h>
#include <limits.h>
#include <pthread.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/syscall.h>
#include <sys/uio.h>
#include <unistd.h>

#define MOST 4096
static pthread_mutex_t lock = PTHREAD_MUTEX_INITIALIZER;
static char *names[MOST]; /* by descriptor: the name it was opened by */
static char is_folder[MOST];
static int log_fd = -1;
static char watch[PATH_MAX], fault[PATH_MAX];
static size_t watch_n;

__attribute__((constructor)) static void begin(void) {
  const char *w = getenv("CRASH_WATCH"), *l = getenv("CRASH_LOG"), *f = getenv("CRASH_FAULT");
  if (w) { strncpy(watch, w, PATH_MAX - 1); watch_n = strlen(watch); }
  if (f) strncpy(fault, f, PATH_MAX - 1);
  if (w && l) log_fd = (int)syscall(SYS_openat, AT_FDCWD, l, O_WRONLY | O_APPEND | O_CREAT | O_CLOEXEC, 0644);
}

#define REAL(name) static __typeof__(name) *real; if (!real) real = (__typeof__(name) *)dlsym(RTLD_NEXT, #name)

static int watched(const char *path) {
  if (!watch_n || !path || strncmp(path, watch, watch_n) != 0) return 0;
  size_t n = strlen(path);
  return !(n > 4 && strcmp(path + n - 4, "-shm") == 0);
}

/* A line: letter, length of the name, the name, offset, length of the data, the data. */
static void put(char letter, const char *name, int64_t offset, const void *data, uint32_t count) {
  if (log_fd < 0) return;
  uint16_t n = (uint16_t)strlen(name);
  struct iovec parts[6] = {{&letter, 1}, {&n, 2}, {(void *)name, n}, {&offset, 8}, {&count, 4}, {(void *)data, data ? count : 0}};
  syscall(SYS_writev, log_fd, parts, 6);
}

static int fails(const char *path, char what) {
  if (!fault[0] || !path) return 0;
  int fd = (int)syscall(SYS_openat, AT_FDCWD, fault, O_RDONLY | O_CLOEXEC, 0);
  if (fd < 0) return 0;
  char said = 0;
  ssize_t got = syscall(SYS_read, fd, &said, 1);
  syscall(SYS_close, fd);
  if (got != 1) return 0;
  if (what == 's' && said == 's') return EIO;
  if (what == 'w' && said == 'w') return EIO;
  if (what == 'w' && said == 'f') return ENOSPC;
  return 0;
}

static const char *name_of(int fd) { return fd >= 0 && fd < MOST ? names[fd] : NULL; }

static int keep(int fd, const char *path, int flags, int there) {
  if (fd >= 0 && fd < MOST) {
    free(names[fd]);
    names[fd] = NULL;
    if (watched(path)) {
      struct stat state;
      is_folder[fd] = fstat(fd, &state) == 0 && S_ISDIR(state.st_mode);
      names[fd] = strdup(path);
      if (!is_folder[fd]) {
        if ((flags & O_CREAT) && !there) put('N', path, fd, NULL, 0);
        else put('O', path, fd, NULL, 0);
        if (flags & O_TRUNC) put('T', path, 0, NULL, 0);
      }
    }
  }
  return fd;
}

#define OPENING(name)                                                                                              \
  int name(const char *path, int flags, ...) {                                                                     \
    REAL(name);                                                                                                    \
    va_list more; va_start(more, flags); mode_t mode = (flags & (O_CREAT | O_TMPFILE)) ? va_arg(more, mode_t) : 0; \
    va_end(more);                                                                                                  \
    if (!watched(path)) return real(path, flags, mode);                                                            \
    pthread_mutex_lock(&lock);                                                                                     \
    int there = access(path, F_OK) == 0;                                                                           \
    int fd = keep(real(path, flags, mode), path, flags, there);                                                    \
    int was = errno; pthread_mutex_unlock(&lock); errno = was;                                                     \
    return fd;                                                                                                     \
  }
OPENING(open)
OPENING(open64)

int close(int fd) {
  REAL(close);
  if (!name_of(fd)) return real(fd);
  pthread_mutex_lock(&lock);
  free(names[fd]); names[fd] = NULL;
  int done = real(fd), was = errno;
  pthread_mutex_unlock(&lock); errno = was;
  return done;
}

#define WRITING(name, offset_t)                                                       \
  ssize_t name(int fd, const void *data, size_t count, offset_t offset) {             \
    REAL(name);                                                                       \
    const char *path = name_of(fd);                                                   \
    if (!path) return real(fd, data, count, offset);                                  \
    int bad = fails(path, 'w');                                                       \
    if (bad) { errno = bad; return -1; }                                              \
    pthread_mutex_lock(&lock);                                                        \
    ssize_t done = real(fd, data, count, offset); int was = errno;                    \
    if (done > 0) put('W', path, (int64_t)offset, data, (uint32_t)done);              \
    pthread_mutex_unlock(&lock); errno = was;                                         \
    return done;                                                                      \
  }
WRITING(pwrite, off_t)
WRITING(pwrite64, off64_t)

ssize_t write(int fd, const void *data, size_t count) {
  REAL(write);
  const char *path = name_of(fd);
  if (!path) return real(fd, data, count);
  int bad = fails(path, 'w');
  if (bad) { errno = bad; return -1; }
  pthread_mutex_lock(&lock);
  off_t at = lseek(fd, 0, SEEK_CUR);
  ssize_t done = real(fd, data, count); int was = errno;
  if (done > 0) put('W', path, (int64_t)at, data, (uint32_t)done);
  pthread_mutex_unlock(&lock); errno = was;
  return done;
}

#define CUTTING(name, offset_t)                                     \
  int name(int fd, offset_t size) {                                 \
    REAL(name);                                                     \
    const char *path = name_of(fd);                                 \
    if (!path) return real(fd, size);                               \
    pthread_mutex_lock(&lock);                                      \
    int done = real(fd, size), was = errno;                         \
    if (done == 0) put('T', path, (int64_t)size, NULL, 0);          \
    pthread_mutex_unlock(&lock); errno = was;                       \
    return done;                                                    \
  }
CUTTING(ftruncate, off_t)
CUTTING(ftruncate64, off64_t)

#define SYNCING(name)                                               \
  int name(int fd) {                                                \
    REAL(name);                                                     \
    const char *path = name_of(fd);                                 \
    if (!path) return real(fd);                                     \
    int bad = fails(path, 's');                                     \
    if (bad) { errno = bad; return -1; }                            \
    pthread_mutex_lock(&lock);                                      \
    int done = real(fd), was = errno; \
    if (done == 0) put(is_folder[fd] ? 'D' : 'S', path, 0, NULL, 0); \
    pthread_mutex_unlock(&lock); errno = was;                       \
    return done;                                                    \
  }
SYNCING(fsync)
SYNCING(fdatasync)

int unlink(const char *path) {
  REAL(unlink);
  if (!watched(path)) return real(path);
  pthread_mutex_lock(&lock);
  int done = real(path), was = errno;
  if (done == 0) put('U', path, 0, NULL, 0);
  pthread_mutex_unlock(&lock); errno = was;
  return done;
}

int rename(const char *path, const char *to) {
  REAL(rename);
  if (!watched(path) && !watched(to)) return real(path, to);
  pthread_mutex_lock(&lock);
  int done = real(path, to), was = errno;
  if (done == 0) put('R', path, 0, to, (uint32_t)strlen(to));
  pthread_mutex_unlock(&lock); errno = was;
  return done;
}

int link(const char *path, const char *to) {
  REAL(link);
  if (!watched(path) && !watched(to)) return real(path, to);
  pthread_mutex_lock(&lock);
  int done = real(path, to), was = errno;
  if (done == 0) put('L', path, 0, to, (uint32_t)strlen(to));
  pthread_mutex_unlock(&lock); errno = was;
  return done;
}
