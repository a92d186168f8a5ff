/** @file port_who.c
 * Who has a port that is busy. "In use by another program" sends people looking for hours.
 *
 * A lock is found in /proc/locks, whoever holds it. Without a lock the open files of the processes
 * are gone through; those of other users are seen only with the right to, so a name is never sure.
 */
#include <dirent.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/sysmacros.h>
#include <unistd.h>

#include "port_impl.h"

/** Most open files looked at: some milliseconds, which is what the loop can spare. */
#define LINKS_MAX 4096u

/** Process that holds a lock on the node, 0 for none. */
static long lock_holder(const struct stat *node)
{
    FILE *locks = fopen("/proc/locks", "re");
    char line[256];
    long found = 0;
    if (locks == NULL)
        return 0;
    while (found == 0 && fgets(line, sizeof line, locks) != NULL) {
        char kind[16];
        long pid = 0;
        unsigned major = 0, minor = 0;
        unsigned long inode = 0;
        /* "1: FLOCK  ADVISORY  WRITE 4711 00:16:3 0 EOF" */
        if (sscanf(line, "%*d: %15s %*s %*s %ld %x:%x:%lu", kind, &pid, &major, &minor, &inode) ==
                5 &&
            pid > 0 && major == major(node->st_dev) && minor == minor(node->st_dev) &&
            inode == (unsigned long) node->st_ino)
            found = pid;
    }
    fclose(locks);
    return found;
}

/**
 * Whether a process has the node open. Counts what it looks at in @p links. A container has its own
 * /dev with the same names: the node must be on the same file system, too.
 */
static bool has_open(const char *pid, const char *real, const struct stat *node, unsigned *links)
{
    char path[64], link[PATH_MAX];
    bool found = false;
    snprintf(path, sizeof path, "/proc/%.20s/fd", pid);
    DIR *fds = opendir(path);
    if (fds == NULL)
        return false;
    for (struct dirent *e; !found && *links < LINKS_MAX && (e = readdir(fds)) != NULL;) {
        ssize_t n = readlinkat(dirfd(fds), e->d_name, link, sizeof link - 1);
        ++*links;
        if (n > 0) {
            struct stat theirs;
            link[n] = '\0';
            found = strcmp(link, real) == 0 && fstatat(dirfd(fds), e->d_name, &theirs, 0) == 0 &&
                    theirs.st_dev == node->st_dev && theirs.st_ino == node->st_ino;
        }
    }
    closedir(fds);
    return found;
}

/** Another process that has the node open, 0 for none. */
static long opener(const char *real, const struct stat *node)
{
    DIR *processes = opendir("/proc");
    unsigned links = 0;
    long found = 0;
    if (processes == NULL)
        return 0;
    for (struct dirent *e; found == 0 && (e = readdir(processes)) != NULL;) {
        long pid = strtol(e->d_name, NULL, 10);
        if (pid > 0 && pid != (long) getpid() && has_open(e->d_name, real, node, &links))
            found = pid;
    }
    closedir(processes);
    return found;
}

void lm_port_who(const char *real, char *out, size_t size)
{
    struct stat node;
    out[0] = '\0';
    if (stat(real, &node) != 0)
        return;
    long pid = lock_holder(&node);
    if (pid == 0)
        pid = opener(real, &node);
    if (pid == 0)
        return;
    if (pid == (long) getpid()) {
        snprintf(out, size, "another reader of this same program");
        return;
    }
    char path[64], name[32] = "";
    snprintf(path, sizeof path, "/proc/%ld/comm", pid);
    FILE *comm = fopen(path, "re");
    if (comm != NULL) {
        if (fgets(name, sizeof name, comm) == NULL)
            name[0] = '\0';
        fclose(comm);
    }
    name[strcspn(name, "\n")] = '\0';
    for (char *c = name; *c != '\0'; c++) {
        if (*c < ' ' || *c > '~')
            *c = '?'; /* anybody may give a process any name */
    }
    snprintf(out, size, "%s (process %ld)", name[0] != '\0' ? name : "a program", pid);
}
