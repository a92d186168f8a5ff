/* Paired devices, the secret that pairs one, and hashes. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "daemon/page_door.h"
#include "daemon/page_hash.h"

struct yard {
    char dir[64], db[128];
    struct doors doors;
};

static int begin(void **state)
{
    struct yard *y = calloc(1, sizeof *y);
    struct lm_problem p = {.err = LM_OK};
    assert_non_null(y);
    snprintf(y->dir, sizeof y->dir, "/tmp/lugmark-door-XXXXXX");
    assert_non_null(mkdtemp(y->dir));
    snprintf(y->db, sizeof y->db, "%s/register.db", y->dir);
    assert_int_equal(doors_begin(&y->doors, y->db, &p), LM_OK);
    *state = y;
    return 0;
}

static int end(void **state)
{
    struct yard *y = *state;
    unlink(y->doors.path);
    assert_int_equal(rmdir(y->dir), 0);
    free(y);
    return 0;
}

static enum door_guess guess(struct yard *y, const char *secret, const char *from, int64_t now,
    char cookie[DOOR_COOKIE_HEX + 1])
{
    const struct door_device *device = NULL;
    return doors_pair(&y->doors, secret, "", from, now, cookie, &device);
}

static void test_hash(void **state)
{
    static const struct {
        const char *text;
        unsigned char first[4], last[4];
    } known[] = {{"", {0xe3, 0xb0, 0xc4, 0x42}, {0x78, 0x52, 0xb8, 0x55}},
        {"abc", {0xba, 0x78, 0x16, 0xbf}, {0xf2, 0x00, 0x15, 0xad}},
        {"abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq", {0x24, 0x8d, 0x6a, 0x61},
            {0x19, 0xdb, 0x06, 0xc1}}};
    unsigned char out[HASH_BYTES], other[HASH_BYTES];
    (void) state;
    for (size_t i = 0; i < sizeof known / sizeof known[0]; i++) {
        hash_bytes(known[i].text, strlen(known[i].text), out);
        assert_memory_equal(out, known[i].first, 4);
        assert_memory_equal(out + HASH_BYTES - 4, known[i].last, 4);
    }
    memcpy(other, out, sizeof other);
    assert_true(hash_same(out, other));
    other[31] ^= 1;
    assert_false(hash_same(out, other));
}

static void test_once(void **state)
{
    struct yard *y = *state;
    char secret[DOOR_SECRET_MAX], cookie[DOOR_COOKIE_HEX + 1], none[DOOR_COOKIE_HEX + 1];
    assert_int_equal(guess(y, "", "a", 0, none), GUESS_NONE);
    assert_false(doors_lan(&y->doors, 0));
    assert_int_equal(doors_offer(&y->doors, DOOR_LOOK, 1000, secret), LM_OK);
    assert_int_equal(strlen(secret), 14);
    assert_true(doors_lan(&y->doors, 1000));
    assert_int_equal(guess(y, secret, "b", 2000, cookie), GUESS_RIGHT);
    assert_int_equal(strlen(cookie), DOOR_COOKIE_HEX);
    const struct door_device *d = doors_known(&y->doors, cookie);
    assert_non_null(d);
    assert_int_equal(d->may, DOOR_LOOK);
    assert_int_equal(guess(y, secret, "b", 2000, none), GUESS_NONE);
    assert_null(doors_known(&y->doors, ""));
    cookie[5] = cookie[5] == '0' ? '1' : '0';
    assert_null(doors_known(&y->doors, cookie));
    assert_true(doors_lan(&y->doors, 1 << 30));
}

static void test_ten_minutes(void **state)
{
    struct yard *y = *state;
    char secret[DOOR_SECRET_MAX], cookie[DOOR_COOKIE_HEX + 1];
    doors_offer(&y->doors, DOOR_ACT, 1000, secret);
    assert_true(doors_lan(&y->doors, 600999));
    assert_false(doors_lan(&y->doors, 601000));
    assert_int_equal(guess(y, secret, "a", 601000, cookie), GUESS_NONE);
    doors_offer(&y->doors, DOOR_ACT, 1000, secret);
    assert_int_equal(guess(y, secret, "b", 600999, cookie), GUESS_RIGHT);
}

/* Five wrong ones, from wherever they come, and the right one is worth nothing any more. */
static void test_five_guesses(void **state)
{
    struct yard *y = *state;
    char secret[DOOR_SECRET_MAX], cookie[DOOR_COOKIE_HEX + 1], from[16];
    doors_offer(&y->doors, DOOR_ACT, 0, secret);
    for (int i = 0; i < 4; i++) {
        snprintf(from, sizeof from, "h%d", i);
        assert_int_equal(guess(y, "0000-0000-0000", from, 1, cookie), GUESS_WRONG);
    }
    struct doors four = y->doors;
    assert_int_equal(guess(y, secret, "z", 2, cookie), GUESS_RIGHT);
    y->doors = four;
    assert_int_equal(guess(y, "", "h5", 2, cookie), GUESS_WRONG);
    assert_int_equal(guess(y, secret, "z", 3, cookie), GUESS_NONE);
}

/* An address that guesses rests a minute, whatever it says. */
static void test_rest(void **state)
{
    struct yard *y = *state;
    char secret[DOOR_SECRET_MAX], cookie[DOOR_COOKIE_HEX + 1];
    for (int i = 0; i < 5; i++) {
        assert_int_equal(guess(y, "x", "evil", 100, cookie), GUESS_NONE);
    }
    doors_offer(&y->doors, DOOR_ACT, 0, secret);
    assert_int_equal(guess(y, secret, "evil", 101, cookie), GUESS_TOO_MANY);
    assert_int_equal(guess(y, "x", "evil", 60099, cookie), GUESS_TOO_MANY);
    assert_int_equal(guess(y, secret, "evil", 60100, cookie), GUESS_RIGHT);
}

static void test_kept(void **state)
{
    struct yard *y = *state;
    struct lm_problem p = {.err = LM_OK};
    char secret[DOOR_SECRET_MAX], cookies[DOOR_DEVICES + 1][DOOR_COOKIE_HEX + 1];
    struct stat sb;
    for (unsigned i = 0; i < DOOR_DEVICES; i++) {
        doors_offer(&y->doors, DOOR_ACT, 0, secret);
        assert_int_equal(guess(y, secret, "a", 1, cookies[i]), GUESS_RIGHT);
    }
    doors_offer(&y->doors, DOOR_ACT, 0, secret);
    assert_int_equal(guess(y, secret, "a", 1, cookies[DOOR_DEVICES]), GUESS_FULL);
    assert_int_equal(stat(y->doors.path, &sb), 0);
    assert_int_equal(sb.st_mode & 0777, 0600);
    struct doors again;
    assert_int_equal(doors_begin(&again, y->db, &p), LM_OK);
    for (unsigned i = 0; i < DOOR_DEVICES; i++) {
        assert_non_null(doors_known(&again, cookies[i]));
    }
    assert_int_equal(doors_forget(&again, "device-3"), 1);
    assert_null(doors_known(&again, cookies[2]));
    assert_non_null(doors_known(&again, cookies[3]));
    assert_int_equal(doors_forget(&again, "nobody"), 0);
    assert_int_equal(doors_forget(&again, "all"), DOOR_DEVICES - 1);
    assert_null(doors_known(&again, cookies[0]));
}

/* What cannot be written down is not given away either, and the secret is still good. */
static void test_not_kept(void **state)
{
    struct yard *y = *state;
    char secret[DOOR_SECRET_MAX], cookie[DOOR_COOKIE_HEX + 1], path[sizeof y->doors.path];
    memcpy(path, y->doors.path, sizeof path);
    snprintf(y->doors.path, sizeof y->doors.path, "%s/no/such/folder", y->dir);
    doors_offer(&y->doors, DOOR_ACT, 0, secret);
    assert_int_equal(guess(y, secret, "a", 1, cookie), GUESS_FAILED);
    assert_null(doors_known(&y->doors, cookie));
    memcpy(y->doors.path, path, sizeof path);
    assert_int_equal(guess(y, secret, "a", 1, cookie), GUESS_RIGHT);
    snprintf(y->doors.path, sizeof y->doors.path, "%s/no/such/folder", y->dir);
    assert_int_equal(doors_forget(&y->doors, "all"), -1);
    assert_non_null(doors_known(&y->doors, cookie));
    memcpy(y->doors.path, path, sizeof path);
}

/* A file that was damaged pairs nobody by accident. */
static void test_damaged_file(void **state)
{
    static const char *const lines[] = {"", "x", "1 act", "0 act 00 0 a b", "1 act zz 0 a b",
        "1 act 0000 0 a b", "-1 act", "\n\n\n"};
    struct yard *y = *state;
    struct lm_problem p = {.err = LM_OK};
    for (size_t i = 0; i < sizeof lines / sizeof lines[0]; i++) {
        FILE *f = fopen(y->doors.path, "w");
        assert_non_null(f);
        fputs(lines[i], f);
        fclose(f);
        assert_int_equal(chmod(y->doors.path, 0600), 0);
        assert_int_equal(doors_begin(&y->doors, y->db, &p), LM_OK);
        assert_false(doors_lan(&y->doors, 0));
    }
}

static void test_host_and_origin(void **state)
{
    (void) state;
    assert_true(door_host("127.0.0.1:8480", "127.0.0.1", 8480, true));
    assert_true(door_host("LOCALHOST:8480", "127.0.0.1", 8480, true));
    assert_false(door_host("localhost:8480", "192.0.2.7", 8480, false));
    assert_true(door_host("192.0.2.7:8480", "192.0.2.7", 8480, false));
    assert_true(door_host("[::1]:8480", "::1", 8480, true));
    assert_false(door_host("::1:8480", "::1", 8480, true));
    assert_true(door_host("127.0.0.1", "127.0.0.1", 80, true));
    assert_false(door_host("127.0.0.1", "127.0.0.1", 8480, true));
    assert_false(door_host("", "127.0.0.1", 8480, true));
    assert_true(door_origin("", "a:1"));
    assert_true(door_origin("http://a:1", "a:1"));
    assert_false(door_origin("http://a:1/", "a:1"));
    assert_false(door_origin("null", "a:1"));
    assert_false(door_origin("https://a:1", "a:1"));
    assert_true(door_json("application/json"));
    assert_true(door_json("Application/JSON; charset=utf-8"));
    assert_false(door_json("application/jsonp"));
    assert_false(door_json("text/plain; application/json"));
    assert_false(door_json(""));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_hash),
        cmocka_unit_test_setup_teardown(test_once, begin, end),
        cmocka_unit_test_setup_teardown(test_ten_minutes, begin, end),
        cmocka_unit_test_setup_teardown(test_five_guesses, begin, end),
        cmocka_unit_test_setup_teardown(test_rest, begin, end),
        cmocka_unit_test_setup_teardown(test_kept, begin, end),
        cmocka_unit_test_setup_teardown(test_not_kept, begin, end),
        cmocka_unit_test_setup_teardown(test_damaged_file, begin, end),
        cmocka_unit_test(test_host_and_origin),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
