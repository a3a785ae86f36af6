/* Stands between a program and the C library (LD_PRELOAD) and writes down, in the order in which they happen, all
   operations that change the folder SHEDLIGHT_DISK, and what the program says on its standard output. From that list
   replay.rs makes what a disk may hold after a power cut.

   The list goes to the file SHEDLIGHT_DISK_LOG. A record is a line "op inode length path[ path]", then length bytes. */
#define _GNU_SOURCE
#include <dlfcn.h>
#include <errno.h>
#include <fcntl.h>
#include <limits.h>
#include <pthread.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/uio.h>
#include <unistd.h>

static pthread_mutex_t one = PTHREAD_MUTEX_INITIALIZER;
static const char *disk;
static int list = -1;

#define REAL(name) static __typeof__(&name) real; if (!real) real = (__typeof__(&name))dlsym(RTLD_NEXT, #name)

__attribute__((constructor)) static void begin(void) {
    const char *path = getenv("SHEDLIGHT_DISK_LOG");
    disk = getenv("SHEDLIGHT_DISK");
    REAL(open);
    if (path && disk) list = real(path, O_WRONLY | O_CREAT | O_APPEND | O_CLOEXEC, 0600);
}

static void put(const void *bytes, size_t length) {
    REAL(write);
    const char *at = bytes;
    while (length > 0) {
        ssize_t done = real(list, at, length);
        if (done <= 0) abort();
        at += done;
        length -= (size_t)done;
    }
}

static void tell(const char *op, unsigned long inode, const char *path, const char *to, const void *bytes, size_t length) {
    char line[2 * PATH_MAX + 100];
    int n = snprintf(line, sizeof line, "%s\t%lu\t%zu\t%s\t%s\n", op, inode, length, path ? path : "", to ? to : "");
    put(line, (size_t)n);
    if (length) put(bytes, length);
}

/* A path as it is, without links, when it lies on the disk: of the last part its name alone counts. */
static int on_disk(int folder, const char *path, char *whole) {
    char name[PATH_MAX], above[PATH_MAX];
    if (list < 0) return 0;
    if (path[0] == '/') snprintf(name, sizeof name, "%s", path);
    else if (folder == AT_FDCWD) {
        char here[PATH_MAX];
        if (!getcwd(here, sizeof here)) return 0;
        if (snprintf(name, sizeof name, "%s/%s", here, path) >= PATH_MAX) return 0;
    } else {
        char link[64], here[PATH_MAX];
        snprintf(link, sizeof link, "/proc/self/fd/%d", folder);
        ssize_t n = readlink(link, here, sizeof here - 1);
        if (n < 0) return 0;
        here[n] = 0;
        if (snprintf(name, sizeof name, "%s/%s", here, path) >= PATH_MAX) return 0;
    }
    char *slash = strrchr(name, '/');
    char last[NAME_MAX + 1];
    snprintf(last, sizeof last, "%s", slash + 1);
    *(slash == name ? slash + 1 : slash) = 0;
    if (!realpath(name, above)) return 0;
    snprintf(whole, PATH_MAX, "%s/%s", above, last);
    size_t n = strlen(disk);
    return strncmp(whole, disk, n) == 0 && (whole[n] == '/' || whole[n] == 0);
}

/* The file behind a descriptor, when it lies on the disk. */
static int file_on_disk(int fd, struct stat *about, char *path) {
    char link[64];
    if (list < 0 || fstat(fd, about) != 0) return 0;
    snprintf(link, sizeof link, "/proc/self/fd/%d", fd);
    ssize_t n = readlink(link, path, PATH_MAX - 1);
    if (n < 0) return 0;
    path[n] = 0;
    size_t own = strlen(disk);
    return strncmp(path, disk, own) == 0 && (path[own] == '/' || path[own] == 0);
}

static int opened(int fd, int flags, int was_there, const char *whole) {
    struct stat about;
    if (fd < 0 || fstat(fd, &about) != 0) return fd;
    if (!was_there) tell("create", about.st_ino, whole, NULL, NULL, 0);
    else if (flags & O_TRUNC) tell("cut", about.st_ino, "0", NULL, NULL, 0);
    return fd;
}

#define OPEN(name, params, folder, ...)                                          \
    int name params {                                                            \
        REAL(name);                                                              \
        mode_t mode = 0;                                                         \
        char whole[PATH_MAX];                                                    \
        if (flags & (O_CREAT | O_TMPFILE)) {                                     \
            va_list more;                                                        \
            va_start(more, flags);                                               \
            mode = va_arg(more, mode_t);                                         \
            va_end(more);                                                        \
        }                                                                        \
        if (!(flags & (O_CREAT | O_TRUNC)) || !on_disk(folder, path, whole)) return real(__VA_ARGS__, mode); \
        pthread_mutex_lock(&one);                                                \
        struct stat about;                                                       \
        int was_there = stat(whole, &about) == 0;                                \
        int fd = opened(real(__VA_ARGS__, mode), flags, was_there, whole);       \
        pthread_mutex_unlock(&one);                                              \
        return fd;                                                               \
    }
OPEN(open, (const char *path, int flags, ...), AT_FDCWD, path, flags)
OPEN(open64, (const char *path, int flags, ...), AT_FDCWD, path, flags)
OPEN(openat, (int folder, const char *path, int flags, ...), folder, folder, path, flags)
OPEN(openat64, (int folder, const char *path, int flags, ...), folder, folder, path, flags)

ssize_t write(int fd, const void *bytes, size_t length) {
    REAL(write);
    struct stat about;
    char path[PATH_MAX];
    if (list >= 0 && fd == 1) {
        pthread_mutex_lock(&one);
        tell("say", 0, NULL, NULL, bytes, length);
        ssize_t done = real(fd, bytes, length);
        pthread_mutex_unlock(&one);
        return done;
    }
    if (!file_on_disk(fd, &about, path)) return real(fd, bytes, length);
    pthread_mutex_lock(&one);
    off_t at = fcntl(fd, F_GETFL) & O_APPEND ? (fstat(fd, &about), about.st_size) : lseek(fd, 0, SEEK_CUR);
    ssize_t done = real(fd, bytes, length);
    char where[32];
    snprintf(where, sizeof where, "%lld", (long long)at);
    if (done > 0) tell("write", about.st_ino, where, NULL, bytes, (size_t)done);
    pthread_mutex_unlock(&one);
    return done;
}

#define SYNC(name)                                                               \
    int name(int fd) {                                                           \
        REAL(name);                                                              \
        struct stat about;                                                       \
        char path[PATH_MAX];                                                     \
        if (!file_on_disk(fd, &about, path)) return real(fd);                    \
        pthread_mutex_lock(&one);                                                \
        int outcome = real(fd);                                                  \
        if (outcome == 0) tell(S_ISDIR(about.st_mode) ? "sync-folder" : "sync", about.st_ino, path, NULL, NULL, 0); \
        pthread_mutex_unlock(&one);                                              \
        return outcome;                                                          \
    }
SYNC(fsync)
SYNC(fdatasync)

#define CUT(name, type)                                                          \
    int name(int fd, type length) {                                              \
        REAL(name);                                                              \
        struct stat about;                                                       \
        char path[PATH_MAX], where[32];                                          \
        if (!file_on_disk(fd, &about, path)) return real(fd, length);            \
        pthread_mutex_lock(&one);                                                \
        int outcome = real(fd, length);                                          \
        snprintf(where, sizeof where, "%lld", (long long)length);                \
        if (outcome == 0) tell("cut", about.st_ino, where, NULL, NULL, 0);       \
        pthread_mutex_unlock(&one);                                              \
        return outcome;                                                          \
    }
CUT(ftruncate, off_t)
CUT(ftruncate64, off64_t)

static unsigned long inode_of(const char *path) {
    struct stat about;
    return lstat(path, &about) == 0 ? about.st_ino : 0;
}

#define NAMED(name, params, what, folder, path, ...)                             \
    int name params {                                                            \
        REAL(name);                                                              \
        char whole[PATH_MAX];                                                    \
        if (!on_disk(folder, path, whole)) return real(__VA_ARGS__);             \
        pthread_mutex_lock(&one);                                                \
        unsigned long before = inode_of(whole);                                  \
        int outcome = real(__VA_ARGS__);                                         \
        if (outcome == 0) tell(what, before ? before : inode_of(whole), whole, NULL, NULL, 0); \
        pthread_mutex_unlock(&one);                                              \
        return outcome;                                                          \
    }
NAMED(unlink, (const char *path), "remove", AT_FDCWD, path, path)
NAMED(rmdir, (const char *path), "remove", AT_FDCWD, path, path)
NAMED(unlinkat, (int folder, const char *path, int flags), "remove", folder, path, folder, path, flags)
NAMED(mkdir, (const char *path, mode_t mode), "folder", AT_FDCWD, path, path, mode)
NAMED(mkdirat, (int folder, const char *path, mode_t mode), "folder", folder, path, folder, path, mode)

#define RENAME(name, params, from_folder, to_folder, ...)                        \
    int name params {                                                            \
        REAL(name);                                                              \
        char old[PATH_MAX], new[PATH_MAX];                                       \
        int leaves = on_disk(from_folder, from, old), comes = on_disk(to_folder, to, new); \
        if (!leaves && !comes) return real(__VA_ARGS__);                         \
        pthread_mutex_lock(&one);                                                \
        unsigned long inode = inode_of(old);                                     \
        int outcome = real(__VA_ARGS__);                                         \
        if (outcome == 0) tell(leaves && comes ? "rename" : "rename-over-the-edge", inode, old, new, NULL, 0); \
        pthread_mutex_unlock(&one);                                              \
        return outcome;                                                          \
    }
RENAME(rename, (const char *from, const char *to), AT_FDCWD, AT_FDCWD, from, to)
RENAME(renameat, (int one_, const char *from, int two_, const char *to), one_, two_, one_, from, two_, to)

/* Copying goes the long way, through read and write. */
ssize_t copy_file_range(int a, off_t *b, int c, off_t *d, size_t e, unsigned f) {
    (void)a, (void)b, (void)c, (void)d, (void)e, (void)f;
    errno = ENOSYS;
    return -1;
}
ssize_t sendfile(int a, int b, off_t *c, size_t d) {
    (void)a, (void)b, (void)c, (void)d;
    errno = EINVAL;
    return -1;
}
ssize_t sendfile64(int a, int b, off64_t *c, size_t d) { return sendfile(a, b, (off_t *)c, d); }

/* What nobody has needed so far. */
#define UNKNOWN(name, ret, params, fd, ...)                                      \
    ret name params {                                                            \
        REAL(name);                                                              \
        struct stat about;                                                       \
        char path[PATH_MAX];                                                     \
        if (file_on_disk(fd, &about, path)) tell("unknown-" #name, about.st_ino, path, NULL, NULL, 0); \
        return real(__VA_ARGS__);                                                \
    }
UNKNOWN(pwrite, ssize_t, (int fd, const void *b, size_t n, off_t at), fd, fd, b, n, at)
UNKNOWN(pwrite64, ssize_t, (int fd, const void *b, size_t n, off64_t at), fd, fd, b, n, at)
UNKNOWN(writev, ssize_t, (int fd, const struct iovec *v, int n), fd, fd, v, n)
UNKNOWN(fallocate, int, (int fd, int how, off_t at, off_t n), fd, fd, how, at, n)
UNKNOWN(posix_fallocate, int, (int fd, off_t at, off_t n), fd, fd, at, n)
UNKNOWN(sync_file_range, int, (int fd, off64_t at, off64_t n, unsigned how), fd, fd, at, n, how)
