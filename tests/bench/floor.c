/*
 * The least a program can do to reconcile: the file in memory by mmap, one open-addressing table,
 * no checks that the job does not need. The yardstick for `lugmark reconcile`. usage: floor
 * REGISTER READINGS > OUT Takes the columns `animal`, `eid` and `visual` by their names in the
 * header line, and prints one line a finding: missing (animal, code, number), duplicate (how
 * often), unmatched.
 */
#include <fcntl.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/mman.h>
#include <sys/stat.h>
#include <unistd.h>

struct text {
    const char *at, *end;
};

struct slot {
    uint64_t code;
    const char *line; /* NULL: nobody's */
    uint32_t readings;
};

static struct slot *slots;
static size_t size;

static struct text open_file(const char *path)
{
    struct stat st;
    int fd = open(path, O_RDONLY);
    if (fd < 0 || fstat(fd, &st) != 0)
        exit(1);
    char *at = mmap(NULL, (size_t) st.st_size, PROT_READ, MAP_PRIVATE | MAP_POPULATE, fd, 0);
    if (at == MAP_FAILED)
        exit(1);
    return (struct text){at, at + st.st_size};
}

static const char *line_end(const char *at, const char *end)
{
    const char *stop = memchr(at, '\n', (size_t) (end - at));
    return stop != NULL ? stop : end;
}

/* The 15 digits as the chip has them: 10 bits country, 38 bits number; 0 when they are none. */
static uint64_t code_of(const char *s)
{
    uint64_t country = 0, number = 0;
    for (int i = 0; i < 15; i++)
        if (s[i] < '0' || s[i] > '9')
            return 0;
    for (int i = 0; i < 3; i++)
        country = country * 10 + (uint64_t) (s[i] - '0');
    for (int i = 3; i < 15; i++)
        number = number * 10 + (uint64_t) (s[i] - '0');
    return country << 38 | number;
}

static struct slot *find(uint64_t code)
{
    uint64_t h = code * UINT64_C(0x9e3779b97f4a7c15);
    size_t at = (h ^ h >> 32) & (size - 1);
    while (slots[at].code != 0 && slots[at].code != code)
        at = (at + 1) & (size - 1);
    return &slots[at];
}

static int column(const char *line, const char *end, const char *name)
{
    size_t len = strlen(name);
    int place = 0;
    for (;; place++) {
        const char *stop = memchr(line, ',', (size_t) (end - line));
        stop = stop != NULL ? stop : end;
        if ((size_t) (stop - line) == len && memcmp(line, name, len) == 0)
            return place;
        if (stop == end)
            return -1;
        line = stop + 1;
    }
}

static struct text cell(const char *line, const char *end, int place)
{
    for (; place > 0; place--) {
        const char *stop = memchr(line, ',', (size_t) (end - line));
        if (stop == NULL)
            return (struct text){end, end};
        line = stop + 1;
    }
    const char *stop = memchr(line, ',', (size_t) (end - line));
    return (struct text){line, stop != NULL ? stop : end};
}

int main(int argc, char **argv)
{
    if (argc != 3)
        return 2;
    struct text reg = open_file(argv[1]), in = open_file(argv[2]);
    const char *stop = line_end(reg.at, reg.end);
    int key = column(reg.at, stop, "animal"), eid = column(reg.at, stop, "eid"),
        number = column(reg.at, stop, "visual");
    if (key < 0 || eid < 0 || number < 0)
        return 1;
    const char *first = stop < reg.end ? stop + 1 : stop;
    size_t length = (size_t) (line_end(first, reg.end) - first) + 1;
    for (size = 64; size < (size_t) (reg.end - first) / length * 3 / 2;)
        size *= 2;
    slots = calloc(size, sizeof *slots);
    for (const char *p = first, *e; p < reg.end; p = e + 1) {
        e = line_end(p, reg.end);
        struct text c = cell(p, e, eid);
        uint64_t code = c.end - c.at == 15 ? code_of(c.at) : 0;
        if (code == 0)
            return 1;
        struct slot *s = find(code);
        *s = (struct slot){.code = code, .line = p};
    }
    stop = line_end(in.at, in.end);
    for (const char *p = stop + 1, *e; p < in.end; p = e + 1) {
        e = line_end(p, in.end);
        uint64_t code = e - p == 15 ? code_of(p) : 0;
        struct slot *s = find(code);
        if (code == 0 || s->code == 0)
            printf("unmatched,%.*s\n", (int) (e - p), p);
        else
            s->readings++;
    }
    for (struct slot *s = slots; s < slots + size; s++) {
        if (s->code == 0 || s->readings == 1)
            continue;
        const char *e = line_end(s->line, reg.end);
        struct text c = cell(s->line, e, eid), k = cell(s->line, e, key),
                    v = cell(s->line, e, number);
        printf("%s,%.*s,%.15s,%.*s,%u\n", s->readings == 0 ? "missing" : "duplicate",
            (int) (k.end - k.at), k.at, c.at, (int) (v.end - v.at), v.at, s->readings);
    }
    return 0;
}
