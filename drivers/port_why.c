/** @file port_why.c
 * Why a port could not be opened, in words that say what to do about it.
 */
#include <errno.h>
#include <grp.h>
#include <stdio.h>
#include <string.h>
#include <sys/stat.h>

#include "port_impl.h"

/** Room for one group's entry; members are not wanted, so a large group just keeps its number. */
#define GROUP_ENTRY_MAX 4096u

/** Name of a group, or its number when it has none. */
static void group_name(gid_t gid, char *out, size_t size)
{
    char room[GROUP_ENTRY_MAX];
    struct group entry, *found = NULL;
    if (getgrgid_r(gid, &entry, room, sizeof room, &found) == 0 && found != NULL)
        snprintf(out, size, "%s", entry.gr_name);
    else
        snprintf(out, size, "%u", (unsigned) gid);
}

static enum lm_err no_permission(const char *path, struct lm_problem *p)
{
    struct stat node;
    if (stat(path, &node) != 0)
        return lm_problem_set(p, LM_EIO, "ask for the right to enter the folders of this path",
            "no permission to look at %.200s", path);
    char group[64];
    char mend[LM_PROBLEM_TEXT_MAX];
    group_name(node.st_gid, group, sizeof group);
    if ((node.st_mode & (S_IRGRP | S_IWGRP)) == (S_IRGRP | S_IWGRP))
        snprintf(mend, sizeof mend,
            "add yourself to group %s (sudo usermod -a -G %s USER) and log in again; for the "
            "daemon, add the user that it runs as and start it again",
            group, group);
    else
        snprintf(mend, sizeof mend,
            "give group %s the right to read and write it, by a udev rule with MODE=\"0660\"",
            group);
    return lm_problem_set(
        p, LM_EIO, mend, "no permission to open %.200s (its group is %s)", path, group);
}

static enum lm_err in_use(const char *path, struct lm_problem *p)
{
    char who[LM_PROBLEM_TEXT_MAX];
    lm_port_who(path, who, sizeof who);
    return lm_problem_set(p, LM_EBUSY, "close the other program, or give this reader another port",
        "%.200s is in use by %s", path, who[0] != '\0' ? who : "another program");
}

enum lm_err lm_port_why(const char *path, int why, struct lm_problem *p)
{
    switch (why) {
    case ENOENT:
    case ENOTDIR:
    case ENXIO:
    case ENODEV:
        return lm_problem_set(p, LM_ENOTFOUND, "plug the reader in, or correct the port",
            "%.200s is not there", path);
    case EBUSY:
    case EWOULDBLOCK:
        return in_use(path, p);
    case EACCES:
    case EPERM:
        return no_permission(path, p);
    case ENOTTY:
        return lm_problem_set(p, LM_ENOSUP, "name a serial port, such as /dev/serial/by-id/...",
            "%.200s is not a serial port", path);
    case ENOMEM:
        return lm_problem_set(p, LM_ENOMEM, NULL, "out of memory");
    default:
        return lm_problem_set(p, LM_EIO, NULL, "%.200s: %s", path, strerror(why));
    }
}
