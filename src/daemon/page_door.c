/** @file page_door.c
 * Where a request says that it comes from. Pure.
 */
#include "page_door.h"

#include <stdio.h>
#include <string.h>
#include <strings.h>
#include <unistd.h>

/* "HOST" or "HOST:PORT" with our port. Without one a browser means 80. */
static bool is_name(const char *host, const char *name, int port)
{
    char full[HTTP_VALUE_MAX];
    snprintf(full, sizeof full, "%s:%d", name, port);
    return strcasecmp(host, full) == 0 || (port == 80 && strcasecmp(host, name) == 0);
}

static bool is_machine(const char *host, int port)
{
    char name[65] = "", full[80];
    if (gethostname(name, sizeof name - 1) != 0 || name[0] == '\0') {
        return false;
    }
    snprintf(full, sizeof full, "%s.local", name);
    return is_name(host, name, port) || is_name(host, full, port);
}

bool door_host(const char *host, const char *local, int port, bool inside)
{
    char address[INET6_ADDRSTRLEN + 3];
    bool six = strchr(local, ':') != NULL;
    snprintf(address, sizeof address, "%s%s%s", six ? "[" : "", local, six ? "]" : "");
    if (is_name(host, address, port)) {
        return true;
    }
    return inside ? is_name(host, "localhost", port) : is_machine(host, port);
}

bool door_origin(const char *origin, const char *host)
{
    static const char scheme[] = "http://";
    return origin[0] == '\0' || (strncasecmp(origin, scheme, sizeof scheme - 1) == 0 &&
                                    strcasecmp(origin + sizeof scheme - 1, host) == 0);
}

bool door_json(const char *type)
{
    static const char json[] = "application/json";
    size_t n = sizeof json - 1;
    return strncasecmp(type, json, n) == 0 && (type[n] == '\0' || type[n] == ';' || type[n] == ' ');
}
