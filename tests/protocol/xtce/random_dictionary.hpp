#pragma once
/// Dictionaries of everything that can be said of packets, by chance.
#include <random>
#include <string>
#include <vector>

#include <nlohmann/json.hpp>

namespace turnstone::test {

class RandomDictionary {
  public:
    explicit RandomDictionary(std::mt19937& random) : random_(&random) {}

    nlohmann::json make() {
        nlohmann::json packets = nlohmann::json::array();
        const unsigned count = 1 + below(3);
        for (unsigned k = 0; k < count; ++k) {
            nlohmann::json packet = {{"apid", 5 + k}, {"name", "p" + std::to_string(k)}, {"period_ms", 0}};
            if (one_in(3)) packet["description"] = "packet <" + std::to_string(k) + "> & \"more\"";
            if (one_in(3)) packet["period_ms"] = 1 + below(5000);
            add_header(packet);
            nlohmann::json fields = nlohmann::json::array();
            bit_ = 0;
            if (one_in(2)) {
                fields.push_back({{"name", "kind"}, {"type", "u2"}});
                fields.push_back({{"spare_bits", 6}});
                packet["when"] = {{"kind", one_in(2) ? nlohmann::json(below(4)) : nlohmann::json::array({0, "2..3"})}};
                if (one_in(3))
                    packet["when"]["sequence_flags"] = one_in(2) ? nlohmann::json(1) : nlohmann::json({0, 3});
            }
            const bool is_open = add_fields(fields, 0);
            if (!is_open && one_in(5)) packet["octets"] = nlohmann::json::array({400, 500});
            packet["fields"] = std::move(fields);
            packets.push_back(std::move(packet));
        }
        return {{"vehicle", one_in(2) ? "kite-2" : "kite"},
                {"title", "Kite of \xC3\xA9preuve"},
                {"version", std::to_string(below(9))},
                {"packets", packets}};
    }

  private:
    unsigned below(unsigned end) { return static_cast<unsigned>((*random_)() % end); }
    bool one_in(unsigned many) { return below(many) == 0; }
    std::string name() {
        const std::string number = std::to_string(next_++);
        return one_in(5) ? "x__" + number + "_" : "x" + number;
    }
    void to_octet(nlohmann::json& fields) {
        if (bit_ % 8 != 0) fields.push_back({{"spare_bits", 8 - bit_ % 8}});
        bit_ = 0;
    }
    nlohmann::json time() {
        if (one_in(2))
            return {{"format", "cuc"},
                    {"coarse_octets", 1 + below(5)},
                    {"fine_octets", below(5)},
                    {"epoch", one_in(2) ? "1980-01-06T00:00:00Z" : "1958-01-01T00:00:00Z"},
                    {"scale", "tai"}};
        return {{"format", "counter"},
                {"coarse_octets", 0},
                {"fine_octets", 1 + below(6)},
                {"fine_hz", 1 + below(2000)},
                {"byte_order", one_in(2) ? "little" : "big"}};
    }
    void add_header(nlohmann::json& packet) {
        if (one_in(3)) {
            packet["secondary_header"] = {{"fields", nlohmann::json::array()}};
        } else if (one_in(2)) {
            packet["time"] = time();
        } else {
            packet["secondary_header"] = {
                {"fields",
                 {{{"name", "service"}, {"type", "u8"}}, {{"name", "sent"}, {"type", "time"}, {"code", time()}}}}};
        }
    }
    void add_number(nlohmann::json& fields) {
        const unsigned kind = below(8);
        nlohmann::json field = {{"name", name()}};
        unsigned bits = 2 + below(63);
        bool is_integer = kind >= 2;
        if (kind == 0) bits = 16U << below(3), field["type"] = "f" + std::to_string(bits);
        if (kind == 1) bits = one_in(2) ? 32 : 48, field["type"] = "f" + std::to_string(bits) + "_1750a";
        if (kind == 2) {
            bits = 8 * (2 + below(3));
            to_octet(fields);
            field["byte_order"] = "little";
        }
        if (kind == 3) {
            bits = 4 * (1 + below(8));
            field["coding"] = "bcd";
        }
        const bool is_signed = is_integer && kind != 3 && one_in(2);
        if (is_integer) field["type"] = (is_signed ? "i" : "u") + std::to_string(bits);
        if (is_signed && kind == 4)
            field["coding"] = one_in(2) ? "sign_magnitude" : one_in(2) ? "ones_complement" : "offset_binary";
        unsigned many = 1;
        if (one_in(5)) field["count"] = many = 2 + below(3);
        if (one_in(4)) field["description"] = "what <it> is & says";
        if (one_in(3)) field["unit"] = one_in(2) ? "V" : "m/s";
        const unsigned meaning = below(7);
        if (meaning == 0) field["calibration"] = {{"linear", {{"gain", 0.1 * (1 + below(9))}, {"offset", -3.25}}}};
        if (meaning == 1) field["calibration"] = {{"polynomial", {1, 0, 0.3}}};
        if (meaning == 2) field["calibration"] = {{"table", {{0, 1}, {10, 4.5}, {30, -2}}}};
        if (meaning >= 3 && meaning <= 4 && is_integer && kind != 3) {
            field.erase("unit");
            field["enumeration"] = {{"0", "off"}, {"1", "warming <up>"}};
            if (meaning == 4 && one_in(2)) field["enumeration"]["else"] = "other";
        } else if (one_in(4)) {
            field["valid_range"] = {-10, 50.5};
        } else if (one_in(4)) {
            field["alerts"] = {{{"below", {{"caution", 2.5}, {"warning", 1}}}}, {{"above", {{"advisory", 40}}}}};
        }
        fields.push_back(std::move(field));
        bit_ = (bit_ + bits * many) % 8;
    }
    /// A size, told by an integer that is added before, or fixed.
    nlohmann::json told(nlohmann::json& fields, unsigned fixed) {
        if (one_in(2)) return fixed;
        const std::string size = name();
        to_octet(fields);
        fields.push_back({{"name", size}, {"type", "u2"}});
        fields.push_back({{"spare_bits", 6}});
        nlohmann::json out = {{"field", size}};
        if (one_in(2)) out["times"] = 2;
        if (one_in(2)) out["plus"] = 1;
        return out;
    }
    void add_text(nlohmann::json& fields) {
        const bool is_text = one_in(2), ends = is_text && one_in(3);
        nlohmann::json field = {{"name", name()}, {"type", is_text ? "text" : "octets"}};
        field["octets"] = ends ? nlohmann::json("to_terminator") : told(fields, 1 + below(5));
        if (is_text && !ends && one_in(2)) field["terminator"] = "none";
        if (ends && one_in(2)) field["terminator"] = "0D0A";
        if (is_text && one_in(2)) field["encoding"] = "ISO-8859-1";
        to_octet(fields);
        fields.push_back(std::move(field));
    }
    bool add_group(nlohmann::json& fields, unsigned depth) {
        nlohmann::json group = {{"name", name()}};
        if (one_in(3)) {
            const std::string flag = name();
            fields.push_back({{"name", flag}, {"type", "u2"}});
            bit_ += 2;
            group["when"] = {{flag, one_in(2) ? nlohmann::json(1) : nlohmann::json({0, "2..3"})}};
            if (one_in(2)) group["when"][flag] = "1..3";
        } else if (depth == 0 && one_in(8)) {
            group["count"] = "to_end";
        } else {
            group["count"] = told(fields, 1 + below(3));
        }
        if (one_in(3)) group["description"] = "a group";
        const bool is_open = group.value("count", nlohmann::json()) == "to_end";
        to_octet(fields);
        nlohmann::json inside = nlohmann::json::array();
        (void)add_fields(inside, is_open ? 9 : depth + 1);
        to_octet(inside);
        group["fields"] = std::move(inside);
        fields.push_back(std::move(group));
        return is_open;
    }
    /// True: the last of them goes on to the packet's end.
    bool add_fields(nlohmann::json& fields, unsigned depth) {
        const unsigned many = 1 + below(6);
        for (unsigned k = 0; k < many; ++k) {
            const unsigned kind = below(10);
            if (k == 0 && depth > 0) {
                add_number(fields);
            } else if (kind == 0) {
                const unsigned bits = 1 + below(20);
                fields.push_back({{"spare_bits", bits}}), bit_ = (bit_ + bits) % 8;
                add_number(fields);
            } else if (kind <= 2) {
                add_text(fields);
            } else if (kind <= 4 && depth < 2) {
                if (add_group(fields, depth)) return true;
            } else if (kind == 5) {
                to_octet(fields);
                fields.push_back({{"name", name()}, {"type", "time"}, {"code", time()}});
            } else {
                add_number(fields);
            }
        }
        return false;
    }

    std::mt19937* random_;
    unsigned bit_ = 0;  ///< of the octet at hand
    unsigned next_ = 0; ///< number of a name
};

} // namespace turnstone::test
