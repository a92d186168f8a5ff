/* Ports: what stands in no way of a good one. Why it cannot be opened or set, the list of those
 * there are, an nfc reader whose helper is not there. */
#include "pty.h"

#include "drivers/port_impl.h"
#include "lugmark/driver.h"

#include <errno.h>
#include <limits.h>
#include <sys/stat.h>

/* libserialport's list, played: the linker leads its calls here. */
struct sp_port {
    const char *name, *description;
};

static struct sp_port played[] = {
    {"/dev/ttyUSB1", "a reader"}, {"/dev/ttyACM0", NULL}, {"/dev/ttyUSB0", "another"}};
static bool refuses;
static int freed;

int __wrap_sp_list_ports(struct sp_port ***out);
const char *__wrap_sp_get_port_name(const struct sp_port *port);
const char *__wrap_sp_get_port_description(const struct sp_port *port);
void __wrap_sp_free_port_list(struct sp_port **list);

int __wrap_sp_list_ports(struct sp_port ***out)
{
    static struct sp_port *list[] = {&played[0], &played[1], &played[2], NULL};
    *out = list;
    return refuses ? -2 : 0;
}

const char *__wrap_sp_get_port_name(const struct sp_port *port)
{
    return port->name;
}

const char *__wrap_sp_get_port_description(const struct sp_port *port)
{
    return port->description;
}

void __wrap_sp_free_port_list(struct sp_port **list)
{
    (void) list;
    freed++;
}

static void note(const char *name, const char *description, void *ctx)
{
    char *text = ctx;
    size_t used = strlen(text);
    snprintf(text + used, 200 - used, "%s=%s;", name, description);
}

static void ports_come_in_order(void **state)
{
    (void) state;
    char text[200] = "";
    assert_int_equal(lm_port_list(note, text), LM_OK);
    assert_string_equal(text, "/dev/ttyACM0=;/dev/ttyUSB0=another;/dev/ttyUSB1=a reader;");
    assert_int_equal(freed, 1);
    refuses = true;
    text[0] = '\0';
    assert_int_equal(lm_port_list(note, text), LM_EIO);
    assert_string_equal(text, "");
    refuses = false;
}

static void why_it_cannot_be_opened(void **state)
{
    (void) state;
    static const struct {
        const char *path;
        int why;
        enum lm_err err;
        const char *what;
    } rows[] = {
        {"/nowhere/p", ENOENT, LM_ENOTFOUND, "/nowhere/p is not there"},
        {"/nowhere/p", ENODEV, LM_ENOTFOUND, "is not there"},
        {"/nowhere/p", EACCES, LM_EIO, "no permission to look at /nowhere/p"},
        {"/dev/null", EPERM, LM_EIO, "no permission to open /dev/null (its group is root)"},
        {"/dev/null", ENOTTY, LM_ENOSUP, "is not a serial port"},
        {"/dev/null", ENOMEM, LM_ENOMEM, "out of memory"},
        {"/dev/null", EIO, LM_EIO, "Input/output error"},
    };
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct lm_problem p = {0};
        if (lm_port_why(rows[i].path, rows[i].why, &p) != rows[i].err ||
            strstr(p.what, rows[i].what) == NULL)
            fail_msg("row %zu: %d: %s", i, (int) p.err, p.what);
    }
}

/** A group that has no name is told by its number; only root may make a file of one. */
static void a_group_without_a_name(void **state)
{
    (void) state;
    char path[] = "/tmp/lugmark-group-XXXXXX";
    int fd = mkstemp(path);
    struct lm_problem p = {0};
    assert_true(fd >= 0);
    bool given = fchown(fd, (uid_t) -1, 54321) == 0;
    close(fd);
    lm_port_why(path, EACCES, &p);
    unlink(path);
    if (!given)
        skip();
    assert_non_null(strstr(p.what, "its group is 54321"));
    assert_non_null(strstr(p.mend, "give group 54321 the right"));
}

static void lines_a_pty_has_not(void **state)
{
    (void) state;
    struct pty pty = pty_open();
    int fd = open(pty.path, O_RDWR | O_NOCTTY | O_CLOEXEC);
    static const struct {
        struct lm_line line;
        enum lm_err err;
        const char *what;
    } rows[] = {{{9600, 8, 'N', 2}, LM_OK, ""}, {{9600, 5, 'N', 1}, LM_ENOSUP, "5N1"},
        {{9600, 6, 'N', 1}, LM_ENOSUP, "6N1"}, {{9600, 7, 'E', 1}, LM_ENOSUP, "7E1"},
        {{9600, 8, 'O', 1}, LM_ENOSUP, "8O1"}, {{9601, 8, 'N', 1}, LM_ENOSUP, "9601 baud"}};
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct lm_problem p = {0};
        if (lm_port_tty_set(fd, &rows[i].line, &p) != rows[i].err ||
            strstr(p.what, rows[i].what) == NULL)
            fail_msg("row %zu: %d: %s", i, (int) p.err, p.what);
    }
    close(fd);
    pty_unplug(&pty);
    struct lm_problem p = {0};
    int null = open("/dev/null", O_RDWR | O_CLOEXEC);
    assert_int_equal(lm_port_tty_set(null, &rows[0].line, &p), LM_EIO);
    assert_non_null(strstr(p.what, "the port cannot be set: "));
    close(null);
}

/* Beside this test there is no helper, and PATH has none. */
static void an_nfc_reader_without_its_helper(void **state)
{
    (void) state;
    struct pty pty = pty_open();
    struct lm_problem p = {0};
    const struct lm_driver_ops *nfc = lm_driver_find("nfc");
    assert_non_null(nfc);
    char longest[PATH_MAX + 8];
    memset(longest, 'p', sizeof longest - 1);
    longest[sizeof longest - 1] = '\0';
    struct lm_setting settings[] = {{"port", longest}, {"uid", "no"}};
    assert_null(nfc->new_(settings, 2, &p));
    assert_non_null(strstr(p.what, "longer than a path"));
    settings[0].value = pty.path;
    settings[1].value = "perhaps";
    assert_null(nfc->new_(settings, 2, &p));
    assert_non_null(strstr(p.what, "uid 'perhaps' is not known"));
    settings[1].value = "yes";
    void *reader = nfc->new_(settings, 2, &p);
    assert_non_null(reader);
    char *path = strdup(getenv("PATH"));
    int fd = -1;
    setenv("PATH", "/nowhere", 1);
    assert_int_equal(nfc->open(reader, &fd, &p), LM_ENOTFOUND);
    setenv("PATH", path, 1);
    free(path);
    assert_non_null(strstr(p.what, "is not there"));
    nfc->free_(reader);
    pty_unplug(&pty);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(ports_come_in_order),
        cmocka_unit_test(why_it_cannot_be_opened),
        cmocka_unit_test(a_group_without_a_name),
        cmocka_unit_test(lines_a_pty_has_not),
        cmocka_unit_test(an_nfc_reader_without_its_helper),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
