#include <algorithm>
#include <cerrno>
#include <cstring>
#include <fstream>

#include <nlohmann/json.hpp>

#include "shared/json_reader.hpp"

namespace turnstone {

namespace {

using Json = nlohmann::json;

/// Builds the document and, unlike the library's own builder, reports members that appear twice (RFC 8259
/// section 4 leaves their meaning open; a file with two values for one setting is a mistake).
class Builder {
  public:
    Builder(std::string_view text, const std::string& file, std::vector<Problem>& problems)
        : text_(text), file_(file), problems_(problems) {}

    bool null() { return put(nullptr) != nullptr; }
    bool boolean(bool value) { return put(value) != nullptr; }
    bool number_integer(Json::number_integer_t value) { return put(value) != nullptr; }
    bool number_unsigned(Json::number_unsigned_t value) { return put(value) != nullptr; }
    bool number_float(Json::number_float_t value, const Json::string_t&) { return put(value) != nullptr; }
    bool string(Json::string_t& value) { return put(std::move(value)) != nullptr; }
    bool binary(Json::binary_t&) { return false; } // not in JSON text
    bool start_object(std::size_t) { return open(Json::object()); }
    bool start_array(std::size_t) { return open(Json::array()); }
    bool end_object() { return close(); }
    bool end_array() { return close(); }

    bool key(Json::string_t& name) {
        Json& object = *open_.back();
        if (object.contains(name)) {
            good_ = false;
            problems_.push_back(
                {file_, pointer() + "/" + escape_pointer(name), "appears twice in this object", "keep one of the two"});
        }
        key_ = name;
        return true;
    }

    bool parse_error(std::size_t position, const std::string& last_token, const nlohmann::detail::exception& error) {
        good_ = false;
        const std::size_t end = std::min(position == 0 ? 0 : position - 1, text_.size());
        const auto line = std::count(text_.begin(), text_.begin() + static_cast<std::ptrdiff_t>(end), '\n') + 1;
        const std::size_t line_start = end == 0 ? std::string_view::npos : text_.rfind('\n', end - 1);
        const std::size_t column = line_start == std::string_view::npos ? end + 1 : end - line_start;
        const std::string place = "line " + std::to_string(line) + ", column " + std::to_string(column);
        if (error.id == 406) {
            problems_.push_back({file_, "", "number " + last_token + " at " + place + " is too large",
                                 "must be a number that fits 64-bit IEEE 754"});
        } else {
            problems_.push_back({file_, "", "is not JSON: " + reason(error.what()) + " at " + place,
                                 "fix the syntax there (RFC 8259)"});
        }
        return false;
    }

    std::optional<Json> take() { return good_ ? std::optional<Json>(std::move(root_)) : std::nullopt; }

  private:
    /// The library's sentence after its own error number and position.
    static std::string reason(std::string_view what) {
        const std::size_t dash = what.find(" - ");
        std::string text(dash == std::string_view::npos ? "syntax error" : what.substr(dash + 3));
        std::replace_if(
            text.begin(), text.end(), [](char c) { return static_cast<unsigned char>(c) < 0x20; }, ' ');
        return text;
    }

    Json* put(Json value) {
        if (open_.empty()) {
            root_ = std::move(value);
            return &root_;
        }
        Json& parent = *open_.back();
        if (parent.is_array()) {
            parent.push_back(std::move(value));
            return &parent.back();
        }
        return &(parent[key_] = std::move(value));
    }

    bool open(Json value) {
        if (open_.size() >= kJsonDepthMax) {
            good_ = false;
            problems_.push_back({file_, pointer(),
                                 "is nested more deeply than " + std::to_string(kJsonDepthMax) + " levels",
                                 "must be flatter"});
            return false;
        }
        if (!open_.empty())
            names_.push_back(open_.back()->is_array() ? std::to_string(open_.back()->size()) : escape_pointer(key_));
        open_.push_back(put(std::move(value)));
        return true;
    }

    bool close() {
        open_.pop_back();
        if (!names_.empty()) names_.pop_back();
        return true;
    }

    [[nodiscard]] std::string pointer() const {
        std::string out;
        for (const std::string& name : names_) out += "/" + name;
        return out;
    }

    std::string_view text_;
    const std::string& file_;
    std::vector<Problem>& problems_;
    Json root_;
    // Pointers stay valid: only the innermost container grows while it is open.
    std::vector<Json*> open_;
    std::vector<std::string> names_;
    std::string key_;
    bool good_ = true;
};

} // namespace

std::optional<Json> parse_json_text(std::string_view text, const std::string& file, std::vector<Problem>& problems,
                                    JsonComments comments) {
    Builder builder(text, file, problems);
    Json::sax_parse(text.begin(), text.end(), &builder, Json::input_format_t::json, true,
                    comments == JsonComments::allowed);
    return builder.take();
}

Result<std::string> read_text_file(const std::filesystem::path& path) {
    std::error_code error;
    const auto status = std::filesystem::status(path, error);
    if (!std::filesystem::exists(status)) return fail(path.string() + " does not exist");
    if (std::filesystem::is_directory(status)) return fail(path.string() + " is a directory, not a file");
    std::ifstream in(path, std::ios::binary);
    if (!in) return fail(path.string() + " cannot be opened: " + std::strerror(errno));
    std::string text;
    char block[65536];
    while (in.read(block, sizeof block) || in.gcount() > 0) {
        text.append(block, static_cast<std::size_t>(in.gcount()));
        if (text.size() > kJsonFileBytesMax)
            return fail(path.string() + " is larger than " + std::to_string(kJsonFileBytesMax >> 20) + " MiB");
    }
    if (in.bad()) return fail(path.string() + " cannot be read: " + std::strerror(errno));
    return text;
}

std::optional<Json> parse_json_file(const std::filesystem::path& path, std::vector<Problem>& problems,
                                    JsonComments comments) {
    const auto text = read_text_file(path);
    if (!text) {
        problems.push_back({path.string(), "", text.error().message, "give the path of a readable JSON file"});
        return std::nullopt;
    }
    return parse_json_text(*text, path.string(), problems, comments);
}

} // namespace turnstone
