/* All that arrives in one plane of a line, see survey/propagation/around/plane.py. */

#include "around.h"

static place_t heading(place_t one, place_t other)
{
    double size = larger(apart(one, other), 1e-9);
    place_t direction = {(other.x - one.x) / size, (other.y - one.y) / size};
    return direction;
}

/* Gives how many strings arrive, -1 without memory. */
int arrivals(Section *section, Scratch *scratch, Integrals *integrals, double length_m, double wavelength_m, double most_db,
             Arrival *found)
{
    double limit_db = most_db, last_db = -INFINITY;
    int number = 0;
    if (!search(section, scratch, length_m)) return -1;
    for (; number < ROOM_STRINGS; number++) {
        Path *path = scratch->found + number;
        int more = next_string(section, scratch, length_m, wavelength_m, larger(limit_db, last_db + SAME_DB), path);
        if (more < 0) return -1;
        if (!more || (number >= MAX_STRINGS && path->bound_db > last_db + SAME_DB)) break;
        last_db = path->bound_db;
        Arrival *arrival = found + number;
        place_t points[MAX_CORNERS + 2];
        Edge edges[ROOM_STATIONS];
        Station stations[ROOM_STATIONS];
        Face faces[ROOM_STATIONS];
        int point_count = path->corner_count + 2;
        double factor, total_m = 0.0, area = 0.0;
        points[0].x = points[0].y = points[point_count - 1].y = 0.0;
        points[point_count - 1].x = length_m;
        for (int i = 0; i < path->corner_count; i++) points[i + 1] = corner_place(section, path->corners[i]);
        for (int i = 0; i + 1 < point_count; i++) {
            total_m += apart(points[i], points[i + 1]);
            area += 0.5 * (points[i].y + points[i + 1].y) * (points[i + 1].x - points[i].x);
        }
        int edge_count = edges_along(section, scratch, path, points, point_count, wavelength_m, edges, &factor);
        if (edge_count < 0) return -1;
        int count = stations_of(section, edges, edge_count, total_m, wavelength_m, stations, faces);
        complex_t hard, soft;
        field(integrals, stations, faces, count, total_m, wavelength_m, &hard, &soft);
        /* No string brings more than its bound and the margin: a safeguard for the integral. */
        double nu = 2.0 * sqrt(larger(0.0, total_m - length_m) / wavelength_m);
        double most = pow(10.0, (MARGIN_DB - (path->corner_count ? edge_loss_db(nu) : 0.0)) / 20.0);
        double less_hard = smaller(1.0, most / larger(sqrt(power_of(hard)), 1e-12)), less_soft = smaller(1.0, most / larger(sqrt(power_of(soft)), 1e-12));
        hard.re *= less_hard;
        hard.im *= less_hard;
        soft.re *= less_soft;
        soft.im *= less_soft;
        double kept = sqrt(factor) * pow(10.0, -path->through_db / 20.0), size = kept * length_m / total_m;
        double phase = -2.0 * PI * (total_m - length_m) / wavelength_m, cosine = size * cos(phase), sine = size * sin(phase);
        arrival->path = path;
        arrival->hard.re = hard.re * cosine - hard.im * sine;
        arrival->hard.im = hard.re * sine + hard.im * cosine;
        arrival->soft.re = soft.re * cosine - soft.im * sine;
        arrival->soft.im = soft.re * sine + soft.im * cosine;
        arrival->more.hard = arrival->more.soft = 0.0;
        if (power_of(arrival->hard) > LEAST_POWER || path->corner_count > 1) {
            powers_t bounces = unfolded_powers(section, integrals, path, length_m, wavelength_m);
            arrival->more.hard = smaller(bounces.hard, most * most) * kept * kept;
            arrival->more.soft = smaller(bounces.soft, most * most) * kept * kept;
        }
        arrival->leave = heading(points[0], points[1]);
        arrival->arrive = heading(points[point_count - 2], points[point_count - 1]);
        arrival->left = area > 0.0;
        double power = 0.5 * (power_of(arrival->hard) + power_of(arrival->soft) + arrival->more.hard + arrival->more.soft);
        if (power > LEAST_POWER && (path->corner_count || path->through_db == 0.0))
            limit_db = smaller(limit_db, MARGIN_DB - 10.0 * log10(power));
    }
    return number;
}

/* The same with so much of its amplitude. */
Arrival scaled(const Arrival *one, double amplitude)
{
    Arrival other = *one;
    other.hard.re *= amplitude;
    other.hard.im *= amplitude;
    other.soft.re *= amplitude;
    other.soft.im *= amplitude;
    other.more.hard *= amplitude * amplitude;
    other.more.soft *= amplitude * amplitude;
    return other;
}

/* The same with at most so much amplitude. */
Arrival weaker(const Arrival *one, double amplitude)
{
    Arrival less = *one;
    double hard = smaller(1.0, amplitude / larger(sqrt(power_of(one->hard)), 1e-9));
    double soft = smaller(1.0, amplitude / larger(sqrt(power_of(one->soft)), 1e-9));
    less.hard.re *= hard;
    less.hard.im *= hard;
    less.soft.re *= soft;
    less.soft.im *= soft;
    return less;
}

/* How far two waves stay in step over a wavelength to either side, by their directions. */
static double in_step(place_t one, place_t other)
{
    double away = 2.0 * apart(one, other);
    if (away < 1e-6) return 1.0;
    return away < 1.0 ? larger(sin(PI * away) / (PI * away), 0.0) : 0.0;
}

powers_t joined_power(const Arrival *const *ways, int count)
{
    powers_t sum = {0.0, 0.0};
    for (int i = 0; i < count; i++) {
        const Arrival *one = ways[i];
        sum.hard += power_of(one->hard) + one->more.hard;
        sum.soft += power_of(one->soft) + one->more.soft;
        for (int j = 0; j < i; j++) {
            const Arrival *other = ways[j];
            if (one->path->passed_count != other->path->passed_count) continue;
            double share = in_step(one->leave, other->leave) * in_step(one->arrive, other->arrive);
            sum.hard += 2.0 * share * (one->hard.re * other->hard.re + one->hard.im * other->hard.im);
            sum.soft += 2.0 * share * (one->soft.re * other->soft.re + one->soft.im * other->soft.im);
        }
    }
    sum.hard = larger(sum.hard, 0.0);
    sum.soft = larger(sum.soft, 0.0);
    return sum;
}

