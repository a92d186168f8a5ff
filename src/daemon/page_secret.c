/** @file page_secret.c
 * The secret that pairs a device: made by the system's randomness, good once and for a while.
 */
#include "page_device.h"
#include "page_hash.h"

#include <stdio.h>
#include <string.h>
#include <sys/random.h>
#include <time.h>

#define SECRET_CHARS 12u /* of 32 each: 60 bits against five guesses */

/* No letter that looks like another or like a digit. */
static const char letters[] = "0123456789abcdefghjkmnpqrstvwxyz";

static bool random_bytes(unsigned char *out, size_t n)
{
    return getrandom(out, n, 0) == (ssize_t) n;
}

/* As it was made, whatever case, blanks and dashes a person typed. */
static void fold(const char *secret, char out[SECRET_CHARS + 2])
{
    size_t n = 0;
    for (const char *at = secret; *at != '\0' && n <= SECRET_CHARS; at++) {
        char c = *at >= 'A' && *at <= 'Z' ? (char) (*at - 'A' + 'a') : *at;
        if (c != ' ' && c != '-') {
            out[n++] = c == 'o' ? '0' : c == 'i' || c == 'l' ? '1' : c;
        }
    }
    out[n] = '\0';
}

static void spend(struct doors *s)
{
    s->offer = DOOR_NOTHING;
    s->wrong = 0;
    memset(s->secret, 0, sizeof s->secret);
}

enum lm_err doors_offer(
    struct doors *s, enum door_may may, int64_t now_ms, char secret[DOOR_SECRET_MAX])
{
    unsigned char bytes[SECRET_CHARS];
    char plain[SECRET_CHARS + 2] = "";
    if (!random_bytes(bytes, sizeof bytes)) {
        return LM_EIO;
    }
    size_t n = 0;
    for (size_t i = 0; i < SECRET_CHARS; i++) {
        plain[i] = letters[bytes[i] & 31];
        if (i > 0 && i % 4 == 0) {
            secret[n++] = '-';
        }
        secret[n++] = plain[i];
    }
    secret[n] = '\0';
    hash_bytes(plain, SECRET_CHARS, s->secret);
    s->offer = may;
    s->until_ms = now_ms + DOOR_SECRET_MS;
    s->wrong = 0;
    return LM_OK;
}

bool doors_lan(const struct doors *s, int64_t now_ms)
{
    bool any = s->offer != DOOR_NOTHING && now_ms < s->until_ms;
    for (size_t i = 0; i < DOOR_DEVICES; i++) {
        any = any || s->devices[i].number != 0;
    }
    return any;
}

/* The place where an address' guesses are counted; the oldest one makes room. */
static struct door_guesser *guesser(struct doors *s, const char *address, int64_t now_ms)
{
    struct door_guesser *oldest = &s->guessers[0];
    for (size_t i = 0; i < DOOR_ADDRESSES; i++) {
        struct door_guesser *g = &s->guessers[i];
        if (strcmp(g->address, address) == 0) {
            if (now_ms - g->since_ms >= DOOR_REST_MS) {
                g->wrong = 0;
            }
            return g;
        }
        oldest = g->since_ms < oldest->since_ms ? g : oldest;
    }
    *oldest = (struct door_guesser){.since_ms = now_ms};
    snprintf(oldest->address, sizeof oldest->address, "%s", address);
    return oldest;
}

static struct door_device *free_place(struct doors *s)
{
    for (size_t i = 0; i < DOOR_DEVICES; i++) {
        if (s->devices[i].number == 0) {
            return &s->devices[i];
        }
    }
    return NULL;
}

static bool name_taken(const struct doors *s, const char *name)
{
    bool taken = strcmp(name, "all") == 0;
    for (size_t i = 0; i < DOOR_DEVICES; i++) {
        taken = taken || (s->devices[i].number != 0 && strcmp(s->devices[i].name, name) == 0);
    }
    return taken;
}

static int64_t wall_ms(void)
{
    struct timespec t;
    clock_gettime(CLOCK_REALTIME, &t);
    return (int64_t) t.tv_sec * 1000 + t.tv_nsec / 1000000;
}

static enum door_guess admit(struct doors *s, const char *name, const char *address,
    char cookie[DOOR_COOKIE_HEX + 1], const struct door_device **device)
{
    unsigned char bytes[DOOR_COOKIE_HEX / 2];
    struct door_device *d = free_place(s);
    if (d == NULL) {
        return GUESS_FULL;
    }
    if (!random_bytes(bytes, sizeof bytes)) {
        return GUESS_FAILED;
    }
    door_hex(bytes, sizeof bytes, cookie);
    *d =
        (struct door_device){.number = s->last_number + 1, .may = s->offer, .paired_ms = wall_ms()};
    hash_bytes(cookie, DOOR_COOKIE_HEX, d->hash);
    snprintf(d->from, sizeof d->from, "%s", address);
    lm_text_copy(d->name, sizeof d->name, name, strlen(name));
    struct door_device mine = *d;
    d->number = 0;
    if (mine.name[0] == '\0' || name_taken(s, mine.name)) {
        snprintf(mine.name, sizeof mine.name, "device-%u", mine.number);
    }
    *d = mine;
    if (!doors_save(s)) {
        *d = (struct door_device){.number = 0};
        return GUESS_FAILED;
    }
    s->last_number = d->number;
    spend(s);
    *device = d;
    return GUESS_RIGHT;
}

enum door_guess doors_pair(struct doors *s, const char *secret, const char *name,
    const char *address, int64_t now_ms, char cookie[DOOR_COOKIE_HEX + 1],
    const struct door_device **device)
{
    unsigned char hash[HASH_BYTES];
    char plain[SECRET_CHARS + 2];
    struct door_guesser *g = guesser(s, address, now_ms);
    if (g->wrong >= DOOR_GUESSES) {
        return GUESS_TOO_MANY;
    }
    if (s->offer != DOOR_NOTHING && now_ms >= s->until_ms) {
        spend(s);
    }
    fold(secret, plain);
    hash_bytes(plain, strlen(plain), hash);
    bool right = hash_same(hash, s->secret) != 0 && s->offer != DOOR_NOTHING;
    if (right) {
        g->wrong = 0;
        return admit(s, name, address, cookie, device);
    }
    g->wrong++;
    g->since_ms = now_ms;
    if (s->offer == DOOR_NOTHING) {
        return GUESS_NONE;
    }
    if (++s->wrong >= DOOR_GUESSES) {
        spend(s);
    }
    return GUESS_WRONG;
}
