#!/bin/sh
# test_fields.sh AWK SOURCE - a malformed remark stops the build and names file and line.
awk=$1
source=$2
dir=$(mktemp -d) || exit 1
trap 'rm -rf "$dir"' EXIT
failures=0

# expect WORDS BODY: the generator fails on the schema BODY and says WORDS.
expect() {
    printf '%b' "$2" >"$dir/x.proto"
    said=$("$awk" -f "$source/proto/fields.awk" "$dir/x.proto" 2>&1 >/dev/null)
    status=$?
    case $status:$said in
    0:*) echo "accepted: $2"; failures=$((failures + 1)) ;;
    *"$1"*) ;;
    *) echo "expected \"$1\", got \"$said\""; failures=$((failures + 1)) ;;
    esac
}

expect 'x.proto:2: malformed remark: "cod" is no type' 'message A {\n  optional string a = 1; //: * cod\n}\n'
expect 'x.proto:2: malformed remark' 'message A {\n  optional int64 a = 1; //: 0..5x g\n}\n'
expect 'x.proto:2: malformed remark' 'message A {\n  optional int64 a = 1; //: 0..5 pounds | mass\n}\n'
expect 'runs backwards' 'message A {\n  optional int64 a = 1; //: 5..0 g\n}\n'
expect 'text needs a size' 'message A {\n  optional string a = 1; //: text | words\n}\n'
expect 'a string needs a type' 'message A {\n  optional string a = 1;\n}\n'
expect 'an instant is a sint64' 'message A {\n  optional int64 a_ms = 1; //: instant\n}\n'
expect 'an instant is a sint64' 'message A {\n  optional sint64 a = 1; //: instant\n}\n'
expect 'a day is a sint32' 'message A {\n  optional int64 a = 1; //: day\n}\n'
expect 'uuid is for bytes' 'message A {\n  optional sint32 a = 1; //: uuid\n}\n'
expect 'a range is for numbers' 'message A {\n  optional bool a = 1; //: 0..1\n}\n'
expect 'nothing is `required`' 'message A {\n  required int64 a = 1;\n}\n'
expect 'a list has one repeated field' 'message A { //: list\n  optional int64 a = 1;\n}\n'
expect 'cannot read' 'message A {\n  optional int64 a = 1\n}\n'
expect 'does not begin with' 'enum Way {\n  UP = 1;\n}\n'
expect 'expected `word X`' 'enum Way {\n  WAY_UP = 1; //: upward\n}\n'
expect 'an empty remark' 'message A {\n  optional int64 a = 1; //:\n}\n'
expect 'a remark stands behind' 'message A {\n  //: text 5\n}\n'
expect 'highest numbers' 'message B {\n  optional int64 a = 1;\n}\nmessage A {\n  oneof x {\n    B b = 1;\n  }\n  optional int64 a = 2;\n}\n'
expect 'a message contains itself: A B' 'message A {\n  optional B b = 1;\n}\nmessage B {\n  repeated A a = 1;\n}\n'

[ "$failures" -eq 0 ] || exit 1
