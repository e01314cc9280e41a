#include "protocol/nmea/position_sentences.hpp"

#include <chrono>
#include <cmath>
#include <string_view>

#include <fmt/format.h>

#include "shared/constants.hpp"

namespace turnstone {

namespace {

constexpr std::int64_t kMinuteParts = 100'000; ///< of a minute, in the last digit shown

/// "4717.11437,N": the whole is rounded once, so that 60 minutes never stand there.
std::string angle_text(double degrees, int degree_digits, std::string_view sides) {
    const bool negative = degrees < 0;
    const std::int64_t parts = std::llround(std::abs(degrees) * 60 * static_cast<double>(kMinuteParts));
    const std::int64_t whole = parts / (60 * kMinuteParts), rest = parts % (60 * kMinuteParts);
    return fmt::format("{:0{}}{:02}.{:05},{}", whole, degree_digits, rest / kMinuteParts, rest % kMinuteParts,
                       sides[negative && parts > 0 ? 1 : 0]);
}

std::string number_text(double value) {
    return std::isfinite(value) ? fmt::format("{:.1f}", value) : "";
}

std::string sentence_of(const std::string& text) {
    unsigned sum = 0;
    for (const char c : text) sum ^= static_cast<unsigned char>(c);
    return fmt::format("${}*{:02X}\r\n", text, sum);
}

} // namespace

std::string position_sentences(const SaidPosition& position) {
    namespace chrono = std::chrono; // `nanoseconds` is something else nearby
    const chrono::sys_time<chrono::nanoseconds> utc{chrono::nanoseconds(position.utc_ns)};
    const auto day = chrono::floor<chrono::days>(utc);
    const chrono::year_month_day date{day};
    const chrono::hh_mm_ss time{chrono::floor<chrono::milliseconds>(utc - day)};
    const std::string time_text = fmt::format("{:02}{:02}{:02}.{:02}", time.hours().count(), time.minutes().count(),
                                              time.seconds().count(), time.subseconds().count() / 10);
    const std::string date_text =
        fmt::format("{:02}{:02}{:02}", static_cast<unsigned>(date.day()), static_cast<unsigned>(date.month()),
                    ((static_cast<int>(date.year()) % 100) + 100) % 100);
    const double longitude_deg = std::remainder(position.longitude_deg, 360.0);
    const std::string place = angle_text(position.latitude_deg, 2, "NS") + "," + angle_text(longitude_deg, 3, "EW");
    double course_deg = std::fmod(position.course_deg, 360.0);
    if (course_deg < 0) course_deg += 360;
    if (course_deg >= 359.95) course_deg = 0; // as it is rounded
    return sentence_of(fmt::format("GPGGA,{},{},{},,,{},M,{},M,,", time_text, place, position.estimated ? 6 : 1,
                                   number_text(position.altitude_msl_m), number_text(position.geoid_height_m))) +
           sentence_of(fmt::format("GPRMC,{},A,{},{},{},{},,,{}", time_text, place,
                                   number_text(position.speed_mps / kKnot_mps), number_text(course_deg), date_text,
                                   position.estimated ? 'E' : 'A'));
}

} // namespace turnstone
