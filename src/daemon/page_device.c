/** @file page_device.c
 * Devices that were paired: the file beside the register, and who holds which cookie.
 *
 * One line a device: number, may, hash of the cookie, time, address, name.
 */
#include "page_device.h"

#include "page_hash.h"
#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#define LINE_MAX_BYTES 256

const char *door_may_name(enum door_may may)
{
    return may == DOOR_ACT ? "act" : may == DOOR_LOOK ? "look" : "";
}

void door_hex(const unsigned char *bytes, size_t n, char *out)
{
    static const char digits[] = "0123456789abcdef";
    for (size_t i = 0; i < n; i++) {
        out[2 * i] = digits[bytes[i] >> 4];
        out[2 * i + 1] = digits[bytes[i] & 15];
    }
    out[2 * n] = '\0';
}

static bool unhex(const char *text, unsigned char *out, size_t n)
{
    for (size_t i = 0; i < n; i++) {
        unsigned byte = 0;
        if (strspn(text + 2 * i, "0123456789abcdef") < 2 ||
            sscanf(text + 2 * i, "%2x", &byte) != 1) {
            return false;
        }
        out[i] = (unsigned char) byte;
    }
    return text[2 * n] == '\0';
}

/* A line that makes no sense pairs nobody. */
static void take_line(struct doors *s, const char *line)
{
    char may[8], hash[2 * DOOR_HASH + 1], from[INET6_ADDRSTRLEN], name[LM_NAME_MAX + 1] = "";
    unsigned number = 0;
    long long paired = 0;
    struct door_device d = {.number = 0};
    if (sscanf(line, "%9u %7s %64s %18lld %45s %63[^\n]", &number, may, hash, &paired, from, name) <
            6 ||
        number == 0 || !unhex(hash, d.hash, DOOR_HASH)) {
        return;
    }
    d.number = number;
    d.may = strcmp(may, "act") == 0 ? DOOR_ACT : DOOR_LOOK;
    d.paired_ms = paired;
    memcpy(d.from, from, sizeof d.from);
    lm_text_copy(d.name, sizeof d.name, name, strlen(name));
    for (size_t i = 0; i < DOOR_DEVICES; i++) {
        if (s->devices[i].number == 0) {
            s->devices[i] = d;
            s->last_number = number > s->last_number ? number : s->last_number;
            return;
        }
    }
}

enum lm_err doors_begin(struct doors *s, const char *db, struct lm_problem *p)
{
    char line[LINE_MAX_BYTES];
    *s = (struct doors){.offer = DOOR_NOTHING};
    int n = snprintf(s->path, sizeof s->path, "%s.paired", db);
    int fd = n < 0 || (size_t) n >= sizeof s->path
                 ? -1
                 : open(s->path, O_RDONLY | O_CLOEXEC | O_NOFOLLOW);
    if (fd < 0 && errno == ENOENT) {
        return LM_OK;
    }
    struct stat sb;
    if (fd >= 0 && fstat(fd, &sb) == 0 && (sb.st_mode & 077) != 0) {
        close(fd);
        return lm_problem_set(p, LM_EIO, "take the file away and pair the devices again",
            "%.200s can be read by others: nobody is paired", s->path);
    }
    FILE *in = fd >= 0 ? fdopen(fd, "r") : NULL;
    if (in == NULL) {
        int error = errno;
        if (fd >= 0) {
            close(fd);
        }
        return lm_problem_set(
            p, LM_EIO, "check who may read it", "reading the paired devices: %s", strerror(error));
    }
    while (fgets(line, sizeof line, in) != NULL) {
        take_line(s, line);
    }
    fclose(in);
    return LM_OK;
}

static bool write_all(const struct doors *s, FILE *out)
{
    char hash[2 * DOOR_HASH + 1];
    for (size_t i = 0; i < DOOR_DEVICES; i++) {
        const struct door_device *d = &s->devices[i];
        if (d->number != 0) {
            door_hex(d->hash, DOOR_HASH, hash);
            fprintf(out, "%u %s %s %lld %s %s\n", d->number, door_may_name(d->may), hash,
                (long long) d->paired_ms, d->from, d->name);
        }
    }
    return fflush(out) == 0 && ferror(out) == 0 && fsync(fileno(out)) == 0;
}

bool doors_save(const struct doors *s)
{
    char fresh[DOOR_PATH_MAX + 4];
    snprintf(fresh, sizeof fresh, "%s.new", s->path);
    unlink(fresh);
    int fd = open(fresh, O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC | O_NOFOLLOW, 0600);
    FILE *out = fd >= 0 ? fdopen(fd, "w") : NULL;
    if (out == NULL) {
        if (fd >= 0) {
            close(fd);
        }
        return false;
    }
    bool good = write_all(s, out);
    good = fclose(out) == 0 && good;
    good = good && rename(fresh, s->path) == 0;
    if (!good) {
        unlink(fresh);
    }
    return good;
}

const struct door_device *doors_known(const struct doors *s, const char *cookie)
{
    unsigned char hash[HASH_BYTES];
    const struct door_device *found = NULL;
    size_t len = strlen(cookie);
    if (len != DOOR_COOKIE_HEX) {
        return NULL;
    }
    hash_bytes(cookie, len, hash);
    for (size_t i = 0; i < DOOR_DEVICES; i++) {
        const struct door_device *d = &s->devices[i];
        bool same = hash_same(hash, d->hash) != 0;
        found = same && d->number != 0 ? d : found;
    }
    return found;
}

int doors_forget(struct doors *s, const char *name)
{
    struct door_device before[DOOR_DEVICES];
    char number[16];
    int n = 0;
    memcpy(before, s->devices, sizeof before);
    for (size_t i = 0; i < DOOR_DEVICES; i++) {
        struct door_device *d = &s->devices[i];
        snprintf(number, sizeof number, "%u", d->number);
        if (d->number != 0 &&
            (strcmp(name, "all") == 0 || strcmp(name, d->name) == 0 || strcmp(name, number) == 0)) {
            *d = (struct door_device){.number = 0};
            n++;
        }
    }
    if (n > 0 && !doors_save(s)) {
        memcpy(s->devices, before, sizeof before);
        return -1;
    }
    return n;
}
