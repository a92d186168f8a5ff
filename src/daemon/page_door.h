/** @file page_door.h
 * Who may come in: paired devices, the secret that pairs one, and where a request says it comes
 * from.
 *
 * Of what a device holds only a hash is kept, in a file beside the register that its owner alone
 * may read.
 */
#ifndef LUGMARK_DAEMON_PAGE_DOOR_H
#define LUGMARK_DAEMON_PAGE_DOOR_H

#include "lugmark/err.h"
#include "lugmark/text.h"
#include "page_http.h"
#include <netinet/in.h>
#include <jansson.h>
#include <stdbool.h>
#include <stdint.h>

#define DOOR_DEVICES 32u
#define DOOR_HASH 32u       /**< bytes of a hash */
#define DOOR_COOKIE_HEX 64u /**< 256 bits of the system's randomness */
#define DOOR_SECRET_MAX 16u
#define DOOR_SECRET_MS 600000
#define DOOR_GUESSES 5u
#define DOOR_ADDRESSES 64u /**< remembered for their wrong guesses */
#define DOOR_REST_MS 60000 /**< how long an address is not listened to after its guesses */
#define DOOR_PATH_MAX 4200u

enum door_may { DOOR_NOTHING, DOOR_LOOK, DOOR_ACT };

struct door_device {
    unsigned number; /**< from 1 up; 0: this place is free */
    enum door_may may;
    unsigned char hash[DOOR_HASH]; /**< of its cookie */
    char name[LM_NAME_MAX + 1];
    char from[INET6_ADDRSTRLEN];
    int64_t paired_ms;
};

struct door_guesser {
    char address[INET6_ADDRSTRLEN];
    unsigned wrong;
    int64_t since_ms;
};

struct doors {
    char path[DOOR_PATH_MAX]; /**< of the file; "" keeps nothing */
    struct door_device devices[DOOR_DEVICES];
    unsigned last_number;
    enum door_may offer; /**< what the secret gives; DOOR_NOTHING: there is none */
    unsigned char secret[DOOR_HASH];
    int64_t until_ms; /**< steady clock */
    unsigned wrong;
    struct door_guesser guessers[DOOR_ADDRESSES];
};

/** "look" or "act". */
const char *door_may_name(enum door_may may);

/** Load what was paired. @p db is the register's path. A file that cannot be read pairs nobody. */
enum lm_err doors_begin(struct doors *s, const char *db, struct lm_problem *p);

/** Make a new secret; the one before is spent. @param[out] secret  As people type it. */
enum lm_err doors_offer(
    struct doors *s, enum door_may may, int64_t now_ms, char secret[DOOR_SECRET_MAX]);

/** Whether the LAN must be open: a secret waits, or a device is paired. */
bool doors_lan(const struct doors *s, int64_t now_ms);

/** What became of a guess. */
enum door_guess { GUESS_RIGHT, GUESS_WRONG, GUESS_NONE, GUESS_TOO_MANY, GUESS_FULL, GUESS_FAILED };

/**
 * Exchange a secret for a cookie.
 * @param[in]  name    What the device is to be called, or "".
 * @param[out] cookie  On GUESS_RIGHT: DOOR_COOKIE_HEX digits.
 * @param[out] device  On GUESS_RIGHT. Borrowed.
 * @return GUESS_NONE: no secret waits; GUESS_TOO_MANY: this address must rest; GUESS_FULL: too many
 *         devices are paired; GUESS_FAILED: it could not be kept, and the secret is still good.
 */
enum door_guess doors_pair(struct doors *s, const char *secret, const char *name,
    const char *address, int64_t now_ms, char cookie[DOOR_COOKIE_HEX + 1],
    const struct door_device **device);

/** The device that holds this cookie, or NULL. Takes the same time for all of them. */
const struct door_device *doors_known(const struct doors *s, const char *cookie);

/** Forget the device called so, or all of them for "all". @return how many; -1: not kept. */
int doors_forget(struct doors *s, const char *name);

/** "HOST:PORT" of this connection as a browser may write it. */
bool door_host(const char *host, const char *local, int port, bool inside);

/** Whether Origin, if sent, is this very page's. */
bool door_origin(const char *origin, const char *host);

/** Whether a type is application/json. */
bool door_json(const char *type);

#endif
