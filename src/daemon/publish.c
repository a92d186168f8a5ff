#include "publish.h"

#include "json_memory.h"
#include "log.h"
#include "wire/wire.h"

#include <stdlib.h>
#include <string.h>

bool publish_add(struct publisher *p, publish_fn *fn, publish_behind_fn *behind, void *ctx)
{
    for (size_t i = 0; i < PUBLISH_SLOTS; i++) {
        if (p->slots[i].fn == NULL) {
            p->slots[i] = (struct publish_slot){.fn = fn, .behind = behind, .ctx = ctx};
            p->n++;
            return true;
        }
    }
    return false;
}

void publish_remove(struct publisher *p, publish_fn *fn, void *ctx)
{
    for (size_t i = 0; i < PUBLISH_SLOTS; i++) {
        if (p->slots[i].fn == fn && p->slots[i].ctx == ctx) {
            p->slots[i] = (struct publish_slot){.fn = NULL};
            p->n--;
        }
    }
}

size_t publish_behind(const struct publisher *p)
{
    size_t most = 0;
    for (size_t i = 0; i < PUBLISH_SLOTS; i++) {
        if (p->slots[i].fn != NULL && p->slots[i].behind != NULL) {
            size_t waits = p->slots[i].behind(p->slots[i].ctx);
            most = waits > most ? waits : most;
        }
    }
    return most;
}

bool publish_slow(struct publisher *p, size_t most, int64_t now_ms, int64_t stuck_ms)
{
    bool slow = false;
    for (size_t i = 0; i < PUBLISH_SLOTS; i++) {
        struct publish_slot *s = &p->slots[i];
        size_t waits = s->fn != NULL && s->behind != NULL ? s->behind(s->ctx) : 0;
        if (waits <= most || waits < s->last) {
            s->moved_ms = now_ms;
        }
        s->last = waits;
        slow = slow || (waits > most && now_ms - s->moved_ms < stuck_ms);
    }
    return slow;
}

bool publish_wanted(const struct publisher *p)
{
    return p->n > 0;
}

char *publish_line(const json_t *object, size_t *len)
{
    char *text = json_memory_ran_out() ? NULL : lm_wire_dumps(object);
    if (text == NULL) {
        return NULL;
    }
    *len = strlen(text);
    char *line = realloc(text, *len + 2);
    if (line == NULL) {
        free(text);
        return NULL;
    }
    memcpy(line + *len, "\n", 2);
    *len += 1;
    return line;
}

void publish_text(struct publisher *p, const char *line, size_t len, int64_t seq)
{
    unsigned left = p->n;
    for (size_t i = 0; left > 0 && i < PUBLISH_SLOTS; i++) {
        if (p->slots[i].fn != NULL) {
            left--;
            p->slots[i].fn(line, len, seq, p->slots[i].ctx);
        }
    }
}

void publish_send(struct publisher *p, json_t *object, int64_t seq)
{
    size_t len = 0;
    if (p->n > 0) {
        char *line = object != NULL ? publish_line(object, &len) : NULL;
        if (line == NULL) {
            log_at(LOG_LEVEL_ERROR, "loop",
                "out of memory for a line of the stream: who follows it must begin anew");
        }
        publish_text(p, line, len, seq);
        free(line);
    }
    json_decref(object);
}
