#pragma once
/// An XML document as a tree that knows what of it has been read, so that a reader can say what it left out. Elements
/// have no namespace here. No file, no network: entities and document types are refused.
#include <map>
#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "shared/json_reader.hpp"

namespace turnstone {

class XmlElement {
  public:
    XmlElement(std::string name, long line) : name_(std::move(name)), line_(line) {}

    /// Without its prefix.
    [[nodiscard]] const std::string& name() const noexcept { return name_; }
    [[nodiscard]] long line() const noexcept { return line_; }
    /// Characters in it, outside its children, without blanks at both ends.
    [[nodiscard]] const std::string& text() const noexcept { return text_; }
    [[nodiscard]] const std::vector<std::unique_ptr<XmlElement>>& children() const noexcept { return children_; }

    /// These mark what they find as read. Empty, or null: it is not there.
    [[nodiscard]] std::optional<std::string> attribute(std::string_view name) const;
    [[nodiscard]] std::string attribute(std::string_view name, std::string_view otherwise) const;
    [[nodiscard]] const XmlElement* child(std::string_view name) const;
    [[nodiscard]] std::vector<const XmlElement*> children(std::string_view name) const;

    void mark_read() const noexcept { is_read_ = true; }
    [[nodiscard]] bool is_read() const noexcept { return is_read_; }
    [[nodiscard]] std::vector<std::string> attributes_not_read() const;

  private:
    friend class XmlReader;
    struct Attribute {
        std::string value;
        mutable bool is_read = false;
    };
    std::string name_;
    long line_;
    std::string text_;
    std::map<std::string, Attribute, std::less<>> attributes_;
    std::vector<std::unique_ptr<XmlElement>> children_;
    mutable bool is_read_ = false;
};

inline constexpr std::size_t kXmlDepthMax = 64;

/// Null: a mistake was appended, with its line. The root is not marked as read.
[[nodiscard]] std::unique_ptr<XmlElement> parse_xml(std::string_view text, const std::string& file,
                                                    std::vector<Problem>& problems);

} // namespace turnstone
