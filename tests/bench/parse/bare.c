#include "bare.h"

static unsigned digit(char c)
{
    return (unsigned)(c - '0');
}

size_t bare_affn(const char *s, double *out)
{
    size_t n = 0;
    for (;;) {
        while (*s == ' ' || *s == '\r' || *s == '\n')
            s++;
        int negative = *s == '-';
        s += negative;
        if (digit(*s) > 9)
            return n;
        long v = 0;
        while (digit(*s) <= 9)
            v = v * 10 + (long)digit(*s++);
        if (*s == '.') {
            s++;
            while (digit(*s) <= 9)
                s++;
        }
        out[n++] = (double)(negative ? -v : v) * 1e-4;
    }
}

enum { SQZ = 1, DIF, DUP };

/* SQZ, DIF and DUP; the first ordinate after a difference is passed over unchecked. */
size_t bare_pseudo(const char *s, double *out)
{
    static signed char kind[256];
    static signed char lead[256];
    if (!kind['@']) {
        for (int i = 0; i < 10; i++) {
            kind[(int)"@ABCDEFGHI"[i]] = SQZ, lead[(int)"@ABCDEFGHI"[i]] = (signed char)i;
            kind[(int)"%JKLMNOPQR"[i]] = DIF, lead[(int)"%JKLMNOPQR"[i]] = (signed char)i;
        }
        for (int i = 1; i < 10; i++) {
            kind['a' + i - 1] = SQZ, lead['a' + i - 1] = (signed char)-i;
            kind['j' + i - 1] = DIF, lead['j' + i - 1] = (signed char)-i;
            kind[(int)"STUVWXYZs"[i - 1]] = DUP, lead[(int)"STUVWXYZs"[i - 1]] = (signed char)i;
        }
    }
    size_t n = 0;
    long y = 0;
    long step = 0;
    int in_dif = 0;
    while (*s && *s != '#') {
        while (digit(*s) <= 9 || *s == '.' || *s == '-')
            s++;
        int first = 1;
        while (*s && *s != '\n') {
            int k = kind[(unsigned char)*s];
            int g = lead[(unsigned char)*s++];
            if (!k)
                continue;
            long v = g < 0 ? -g : g;
            while (digit(*s) <= 9)
                v = v * 10 + (long)digit(*s++);
            if (g < 0)
                v = -v;
            if (k == SQZ) {
                if (!(first && in_dif))
                    out[n++] = (double)v * 1e-4;
                y = v;
                step = 0;
                in_dif = 0;
            } else if (k == DIF) {
                step = v;
                y += step;
                out[n++] = (double)y * 1e-4;
                in_dif = 1;
            } else {
                for (long i = 1; i < v; i++) {
                    y += step;
                    out[n++] = (double)y * 1e-4;
                }
            }
            first = 0;
        }
        s += *s != 0;
    }
    return n;
}
