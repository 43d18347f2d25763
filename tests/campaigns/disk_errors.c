/* The system calls on files below one folder, each written down, and one of them, or all from one on, refused; or the
   program killed at one.

   Preloaded before a program: a call goes to this file first and then, where it is not to fail, to the C library. */
#define _GNU_SOURCE
#include <dirent.h>
#include <dlfcn.h>
#include <errno.h>
#include <fcntl.h>
#include <pthread.h>
#include <signal.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <sys/syscall.h>
#include <unistd.h>

enum { OPEN, CREATE, WRITE, READ, FSYNC, RENAME, LINK, UNLINK, MKDIR, FTRUNCATE, FLOCK, CHMOD, OPENDIR, STAT, RMDIR };
static const char *NAMES[] = {"open", "create", "write", "read", "fsync", "rename", "link", "unlink",
                              "mkdir", "ftruncate", "flock", "chmod", "opendir", "stat", "rmdir"};
enum { ONCE, FROM_THERE, SHORT, KILLED, KILLED_HALF_WAY };

#define MOST 1024
static char root[PATH_MAX];
static char opened[MOST][PATH_MAX];
static size_t root_length;
static unsigned kinds;
static int at, code, way, note = -1, calls;
static pthread_mutex_t guard = PTHREAD_MUTEX_INITIALIZER;

/* where: the folder; which: a bit for each kind of call that may fail; number: which of those calls fails, 0 for none */
void disk_errors(const char *where, unsigned which, int number, int error, int how, int notes) {
    strncpy(root, where, sizeof root - 1);
    root_length = strlen(root);
    kinds = which, at = number, code = error, way = how, calls = 0, note = notes;
}

static int is_ours(const char *path) {
    return root_length && path && !strncmp(path, root, root_length) && (path[root_length] == '/' || !path[root_length]);
}
static const char *path_of(int fd) { return fd >= 0 && fd < MOST && opened[fd][0] ? opened[fd] : NULL; }

static void tell(int kind, const char *what, const char *path, const char *to) {
    char line[3 * PATH_MAX];
    int length = snprintf(line, sizeof line, "%s\t%s\t%s\t%s\n", NAMES[kind], what, path, to);
    if (note >= 0) syscall(SYS_write, note, line, (size_t)length);
}

/* The program is killed, as by the system: nothing after this is run. */
static void end(void) { syscall(SYS_kill, getpid(), SIGKILL); }

/* 0: the call may go on; 1: it is refused, errno says why; 2: it does half of it */
static int refused(int kind, const char *path, const char *to) {
    int answer = 0;
    if (!is_ours(path) || !(kinds & 1u << kind)) return 0;
    pthread_mutex_lock(&guard);
    calls++;
    if (way >= KILLED) {
        if (calls == at && way == KILLED_HALF_WAY && kind == WRITE) answer = 2;
        else if (calls == at) end();
    } else if (way == SHORT && calls == at) answer = kind == WRITE ? 2 : 0;
    else if (at && (calls == at || (way != ONCE && calls > at))) answer = 1;
    pthread_mutex_unlock(&guard);
    if (answer == 1) {
        tell(kind, "refused", path, to);
        errno = code;
    }
    return answer;
}

#define REAL(name) \
    static __typeof__(&name) real; \
    if (!real) real = (__typeof__(&name))dlsym(RTLD_NEXT, #name)
#define DONE(result, kind, path, to) \
    do { int kept = errno; \
         if (is_ours(path)) tell(kind, (result) < 0 ? "failed" : "done", path, to); \
         errno = kept; } while (0)

static int opened_as(int fd, int kind, const char *path) {
    if (fd >= 0 && fd < MOST) strncpy(opened[fd], is_ours(path) ? path : "", PATH_MAX - 1);
    DONE(fd, kind, path, "");
    return fd;
}

#define OPENING(name, parameters, ...) \
    int name parameters { \
        REAL(name); \
        va_list more; \
        va_start(more, flags); \
        mode_t mode = flags & (O_CREAT | __O_TMPFILE) ? va_arg(more, mode_t) : 0; \
        va_end(more); \
        struct stat found; \
        int kind = is_ours(path) && flags & O_CREAT && syscall(SYS_newfstatat, AT_FDCWD, path, &found, 0) ? CREATE : OPEN; \
        if (refused(kind, path, "")) return -1; \
        return opened_as(real(__VA_ARGS__, flags, mode), kind, path); \
    }
OPENING(open, (const char *path, int flags, ...), path)
OPENING(open64, (const char *path, int flags, ...), path)
OPENING(openat, (int folder, const char *path, int flags, ...), folder, path)
OPENING(openat64, (int folder, const char *path, int flags, ...), folder, path)

int close(int fd) {
    REAL(close);
    if (fd >= 0 && fd < MOST) opened[fd][0] = 0;
    return real(fd);
}

ssize_t write(int fd, const void *bytes, size_t many) {
    REAL(write);
    int answer = refused(WRITE, path_of(fd), "");
    if (answer == 1) return -1;
    ssize_t result = real(fd, bytes, answer == 2 ? many / 2 : many);
    if (answer == 2 && way == KILLED_HALF_WAY) end();
    if (path_of(fd)) DONE(result, WRITE, path_of(fd), "");
    return result;
}

ssize_t read(int fd, void *bytes, size_t many) {
    REAL(read);
    if (refused(READ, path_of(fd), "")) return -1;
    return real(fd, bytes, many);
}

#define ON_A_FILE(name, kind, parameters, ...) \
    int name parameters { \
        REAL(name); \
        if (refused(kind, path_of(fd), "")) return -1; \
        int result = real(__VA_ARGS__); \
        if (path_of(fd)) DONE(result, kind, path_of(fd), ""); \
        return result; \
    }
ON_A_FILE(fsync, FSYNC, (int fd), fd)
ON_A_FILE(fdatasync, FSYNC, (int fd), fd)
ON_A_FILE(ftruncate, FTRUNCATE, (int fd, off_t size), fd, size)
ON_A_FILE(ftruncate64, FTRUNCATE, (int fd, off64_t size), fd, size)
ON_A_FILE(flock, FLOCK, (int fd, int how), fd, how)

#define ON_A_NAME(name, kind, other, parameters, ...) \
    int name parameters { \
        REAL(name); \
        if (refused(kind, path, other)) return -1; \
        int result = real(__VA_ARGS__); \
        DONE(result, kind, path, other); \
        return result; \
    }
ON_A_NAME(rename, RENAME, to, (const char *path, const char *to), path, to)
ON_A_NAME(link, LINK, to, (const char *path, const char *to), path, to)
ON_A_NAME(linkat, LINK, to, (int from, const char *path, int there, const char *to, int how), from, path, there, to, how)
ON_A_NAME(unlink, UNLINK, "", (const char *path), path)
ON_A_NAME(unlinkat, UNLINK, "", (int folder, const char *path, int how), folder, path, how)
ON_A_NAME(rmdir, RMDIR, "", (const char *path), path)
ON_A_NAME(mkdir, MKDIR, "", (const char *path, mode_t mode), path, mode)
ON_A_NAME(chmod, CHMOD, "", (const char *path, mode_t mode), path, mode)
ON_A_NAME(fchmodat, CHMOD, "", (int folder, const char *path, mode_t mode, int how), folder, path, mode, how)

#define LOOKING(name, type, parameters, ...) \
    int name parameters { \
        REAL(name); \
        return refused(STAT, path, "") ? -1 : real(__VA_ARGS__); \
    }
LOOKING(stat, struct stat, (const char *restrict path, struct stat *restrict found), path, found)
LOOKING(lstat, struct stat, (const char *restrict path, struct stat *restrict found), path, found)
LOOKING(stat64, struct stat64, (const char *restrict path, struct stat64 *restrict found), path, found)
LOOKING(lstat64, struct stat64, (const char *restrict path, struct stat64 *restrict found), path, found)
LOOKING(fstatat64, struct stat64,
        (int folder, const char *restrict path, struct stat64 *restrict found, int how), folder, path, found, how)

int fstat64(int fd, struct stat64 *found) {
    REAL(fstat64);
    return refused(STAT, path_of(fd), "") ? -1 : real(fd, found);
}

DIR *opendir(const char *path) {
    REAL(opendir);
    return refused(OPENDIR, path, "") ? NULL : real(path);
}
